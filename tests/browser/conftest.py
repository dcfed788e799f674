"""A browser, and the pages served to it on a pile of its own; skipped, with the reason, where there is none."""

import os
import shutil
import sys
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parent)]  # what the other tests use too

from demo import keep_demo  # noqa: E402
from served import served  # noqa: E402

CHROMIUM = shutil.which("chromium")
PATIENCE = 60_000  # ms: on a busy computer


@pytest.fixture(scope="session")
def browser():
    if CHROMIUM is None:
        pytest.skip("no chromium on this computer")
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def demo_pile(tmp_path_factory):
    """The demo photographs, measured once, and all their pieces kept."""
    return keep_demo(tmp_path_factory.mktemp("demo") / "pile.sqlite")


@pytest.fixture(scope="session")
def pages(tmp_path_factory):
    """A server of the pages; every test that uses it finds the demo pile there, as if nobody had touched it."""
    pytest.importorskip("voila", reason="voila is not installed")
    folder = tmp_path_factory.mktemp("pages")
    with served("open", "--no-browser", "--pile", "pile.sqlite", folder=folder) as server:
        yield server


@pytest.fixture
def pile(pages, demo_pile):
    """The catalogue that pages open: a fresh copy of the demo pile, to be changed before a page is opened."""
    place = pages.folder / "pile.sqlite"
    for rest in pages.folder.glob("pile.*"):
        rest.unlink()
    shutil.copyfile(demo_pile, pages.folder / "copy")
    os.replace(pages.folder / "copy", place)
    return place


@pytest.fixture
def in_browser(browser):
    """Open an address; whatever fails in the page, or is asked of any other computer, makes the test fail."""
    contexts, trouble = [], []

    def go(address, *, width=1280, dark=False, expected=(), **options):
        """`expected`: parts of addresses that the test knows will fail."""
        context = browser.new_context(
            viewport={"width": width, "height": 844 if width < 500 else 900},
            color_scheme="dark" if dark else "light", **options,
        )  # fmt: skip
        contexts.append(context)
        context.set_default_timeout(PATIENCE)
        origin = "/".join(address.split("/", 3)[:3])
        own = (origin + "/", origin.replace("http", "ws", 1) + "/", "data:", f"blob:{origin}/")

        def hear(said):
            where = said.location.get("url", "")
            if said.type == "error" and not any(each in where for each in expected):
                trouble.append(f"{said.text} {where}")

        def watch(page):
            page.on("request", lambda request: None if request.url.startswith(own) else trouble.append(request.url))
            page.on("websocket", lambda socket: None if socket.url.startswith(own) else trouble.append(socket.url))
            page.on("pageerror", lambda error: trouble.append(f"{error}\n{error.stack}"))
            page.on("console", hear)

        context.on("page", watch)
        page = context.new_page()
        page.goto(address, wait_until="commit")
        return page

    yield go
    for context in contexts:
        context.close()
    assert trouble == []


@pytest.fixture
def open_page(in_browser, pages, pile):
    """Open a page by its name, and wait until its panels are there."""

    def go(name, width=1280, dark=False, **options):
        page = in_browser(f"{pages.origin}/{name}?token={pages.token}", width=width, dark=dark, **options)
        page.locator("html[data-ready=true]").wait_for(state="attached")
        return page

    return go
