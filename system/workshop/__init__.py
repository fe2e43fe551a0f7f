"""What a builder does by hand: solder, lay out, wind, cut, and what to mind."""
