"""The commands: one module each, thin, one call of `system`. What needs numpy is imported inside the function."""
