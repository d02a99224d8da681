"""One order for all sites against the stock."""
