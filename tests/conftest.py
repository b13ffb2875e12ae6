"""Settings shared by all tests: property tests repeat themselves and never fail for being slow."""

from hypothesis import settings

settings.register_profile("pithline", deadline=None, derandomize=True)
settings.load_profile("pithline")
