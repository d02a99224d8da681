"""wrapcalc: assessment of corroded steel pipe and design of bonded composite wraps, one package per anomaly."""

__version__ = "0.1.0"
