"""The kit as a whole: reading it, predicting it, deciding about it, and showing the result."""
