"""Can a wrap restore it? Loads, strains, routes to a thickness, layers, extent, and what it bears."""
