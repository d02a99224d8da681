"""Many anomalies: read a listing, screen it as arrays, rank, make a package for each, order once, hand out the digs."""
