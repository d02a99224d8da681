"""The example: an invented gas line with five anomalies, and one case file with faults."""
