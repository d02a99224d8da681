"""The dig: the right joint, the place on it, the trench."""
