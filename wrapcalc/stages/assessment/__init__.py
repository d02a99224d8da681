"""Is the pipe fit? Methods, allowable sizes, life, chance, rule book, pressure until the repair."""
