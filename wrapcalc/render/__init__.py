"""See DEVELOPERS.md for what lives in `render/` and what it may import."""
