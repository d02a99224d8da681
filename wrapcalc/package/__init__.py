"""See DEVELOPERS.md for what lives in `package/` and what it may import."""
