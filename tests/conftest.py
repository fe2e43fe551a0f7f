"""Settings of all tests: random cases are the same on every run, and none is judged by the clock."""

from hypothesis import settings

settings.register_profile("kitwright", derandomize=True, deadline=None)
settings.load_profile("kitwright")
