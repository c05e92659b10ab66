"""Property tests that try the same examples on every run."""

from hypothesis import settings

settings.register_profile("steady", deadline=None, derandomize=True, max_examples=150)
settings.load_profile("steady")
