"""Code that several tests share. Nothing here imports what it is used to check, unless it says so."""
