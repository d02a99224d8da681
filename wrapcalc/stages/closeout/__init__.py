"""The close-out: every reading against its limit, and the design with what was built."""
