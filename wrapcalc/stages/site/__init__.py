"""What the crew needs for a wrap: units, marks, materials, mixing, weather, cure, release, cautions."""
