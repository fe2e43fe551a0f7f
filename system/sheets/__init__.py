"""What people and programs read: tables, plots, files. Formats values and computes nothing."""
