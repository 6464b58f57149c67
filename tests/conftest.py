"""Every run draws the same examples, and a slow machine is no failure."""

from hypothesis import settings

settings.register_profile("same", derandomize=True, deadline=None)
settings.load_profile("same")
