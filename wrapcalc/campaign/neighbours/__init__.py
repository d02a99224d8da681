"""What stands beside what: anomalies that act as one, wraps that touch, damage over damage, fittings."""
