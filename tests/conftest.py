"""What all tests share."""

from hypothesis import settings

# The same examples on every run, and no limit on the time of one: the first imports pandas or scipy.
settings.register_profile("contrastkit", deadline=None, derandomize=True)
settings.load_profile("contrastkit")
