"""What all tests share."""

import pytest
from hypothesis import settings

# The same examples on every run, and no limit on the time of one: the first imports pandas or scipy.
settings.register_profile("contrastkit", deadline=None, derandomize=True)
settings.load_profile("contrastkit")


@pytest.fixture(scope="session", autouse=True)
def _data_folder_of_the_tests(tmp_path_factory):
    """Whoever runs the tests keeps their own data folder as it is: backups and catalogues go to one of the tests'."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield


def pytest_collection_modifyitems(items):
    """Tests that drive a browser come last: Playwright leaves a running event loop, which asyncio refuses to nest."""
    items.sort(key=lambda item: "tests/browser/" in item.nodeid)  # a stable sort keeps all else in its order
