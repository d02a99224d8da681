"""The invented listing with its line, files and seed."""
