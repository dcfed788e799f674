"""What all tests share."""

from hypothesis import settings

# The same examples on every run, and no limit on the time of one: the first imports pandas or scipy.
settings.register_profile("contrastkit", deadline=None, derandomize=True)
settings.load_profile("contrastkit")


def pytest_collection_modifyitems(items):
    """Tests that drive a browser come last: Playwright leaves a running event loop, which asyncio refuses to nest."""
    items.sort(key=lambda item: "tests/browser/" in item.nodeid)  # a stable sort keeps all else in its order
