"""
Takes the pictures of the panels for README and notebooks from the real pages, on the demo pile.

    python tests/browser/make_pictures.py

It writes `notebooks/pictures/`. Look at each picture afterwards: would someone know what to do next without reading?
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parent)]

from by_hand import drop, lay, point_at, ready  # noqa: E402
from demo import PHOTOS, keep_demo  # noqa: E402
from PIL import Image  # noqa: E402
from playwright.sync_api import Locator, Page, sync_playwright  # noqa: E402
from served import Server, served  # noqa: E402

PICTURES = Path(__file__).parents[2] / "notebooks" / "pictures"
WIDTH, MARGIN, GAP = 1180, 16, 12  # pixels on the page


def photograph(page: Page) -> Locator:
    """A board, measured, and the piece on it that is to be looked at."""
    drop(page, PHOTOS / "morning-card.jpg")
    point_at(page, "morning-card-13")
    return page.locator(".ck-board-frame")


def sort(page: Page) -> Locator:
    """The pile in its groups, down to the next step."""
    return page.get_by_role("button", name="Keep these edges")


def explore(page: Page) -> Locator:
    """The palette, and the first pairs."""
    return page.get_by_role("button", name="yet").nth(3)


def stack(page: Page) -> Locator:
    """Three layers, dark to light."""
    lay(page, 3)
    page.locator(".ck-table-tray button").first.wait_for()
    return page.locator(".ck-table-group").first


def plan(page: Page) -> Locator:
    """The wall, down to the next step."""
    page.wait_for_function("[...document.querySelectorAll('.ck-wall-field img')].every(image => image.naturalWidth)")
    return page.get_by_role("button", name="Print the plan")


def teach(page: Page) -> Locator:
    """An exercise that has just begun."""
    page.get_by_role("button", name="Begin a new exercise").click()
    page.locator(".ck-order-tile").nth(11).wait_for()
    return page.locator(".ck-order")


# The panel, what is done in it and where the picture ends, and the part that goes into the picture of the whole job.
PANELS = {"photograph": (photograph, ".ck-board-stage"), "sort": (sort, ".ck-strip"), "explore": (explore, None),
          "stack": (stack, ".ck-table-picture img"), "plan": (plan, ".ck-wall-field img"),
          "teach": (teach, None)}


def take(page: Page, last: Locator) -> Image.Image:
    """Return the panel down to something in it."""
    page.wait_for_load_state("networkidle")
    page.evaluate("document.activeElement.blur(); scrollTo(0, 0)")
    page.mouse.move(0, 0)
    panel, end = page.locator(".ck-panel").first.bounding_box(), last.bounding_box()
    place = {"x": panel["x"] - MARGIN, "y": panel["y"], "width": panel["width"] + 2 * MARGIN,
             "height": end["y"] + end["height"] + MARGIN - panel["y"]}
    return opened(page.screenshot(clip=place, full_page=True, animations="disabled"))


def opened(png: bytes) -> Image.Image:
    """Return a screenshot as a picture."""
    return Image.open(io.BytesIO(png)).convert("RGB")


def save(picture: Image.Image, name: str) -> None:
    """Write a picture with its colours as they are: with fewer, pieces would change theirs."""
    picture.save(PICTURES / f"{name}.png", optimize=True)
    print(PICTURES / f"{name}.png", *picture.size)


def whole_job(parts: dict[str, Image.Image]) -> Image.Image:
    """Return board, stack and wall in a row, and the sorted pile below them."""
    strip = parts["sort"]
    row = [parts[name] for name in ("photograph", "stack", "plan")]
    high = round((strip.width - 2 * GAP) / sum(part.width / part.height for part in row))
    row = [part.resize((round(part.width * high / part.height), high), Image.Resampling.LANCZOS) for part in row]
    whole = Image.new("RGB", (strip.width, high + GAP + strip.height), strip.getpixel((0, 0)))
    left = 0
    for part in row:
        whole.paste(part, (left, 0))
        left += part.width + GAP
    whole.paste(strip, (0, high + GAP))
    return whole


def take_all(page: Page, server: Server, pile: Path) -> None:
    """Take the pictures of all panels; the board is photographed while the pile is still empty."""
    parts = {}
    for name, (prepared, part) in PANELS.items():
        page.goto(f"{server.origin}/{name}?token={server.token}")
        ready(page)
        save(take(page, prepared(page)), name)
        if part:
            parts[name] = opened(page.locator(part).first.screenshot(animations="disabled"))
        if name == "photograph":
            for rest in pile.parent.glob(f"{pile.name}*"):
                rest.unlink()
            keep_demo(pile)
    save(whole_job(parts), "whole_job")


def main() -> None:
    """Take them all."""
    PICTURES.mkdir(exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as folder, sync_playwright() as play,
        served("open", "--no-browser", "--pile", "pile.sqlite", folder=Path(folder)) as server,
    ):  # fmt: skip
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": WIDTH, "height": 1200})
        take_all(page, server, Path(folder) / "pile.sqlite")
        browser.close()


if __name__ == "__main__":
    main()
