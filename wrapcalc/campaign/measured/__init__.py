"""Measurements of the ditch beside the listing, and the bias of the run."""
