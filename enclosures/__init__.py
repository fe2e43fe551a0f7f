"""Air, drivers, enclosures and radiation: everything between the voice coil and the ear."""
