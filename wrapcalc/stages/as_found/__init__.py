"""The gate between digging and wrapping: the design worked again with what was found."""
