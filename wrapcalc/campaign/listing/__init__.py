"""Reading an inspection listing by a mapping file: every row is read, or told with what is wrong in it."""
