"""What a builder measures on the bench: readings, sweeps and what they say of one unit."""
