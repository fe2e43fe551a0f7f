"""Printed pages: one description of what stands on them, and how it becomes text, a web page or paper."""
