"""The case: what the engineer states about one anomaly, read from TOML, checked and frozen."""

from wrapcalc.case.load import Bundle, load_bundle, read_bundle
from wrapcalc.case.model import Case

__all__ = ["Bundle", "Case", "load_bundle", "read_bundle"]
