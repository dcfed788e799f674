"""
How soon a panel answers the hand: from a tap or a slide to the new picture, with 200 pieces in the pile.

    python tests/benchmarks/panels.py [--page]

In the kernel: processor time on one core from the message to the new pictures, beside that of the same stack as a
printed picture. With `--page`, wall time in a real page: from the tap to the picture that is loaded there. The
milliseconds belong to the computer, the ratios do not.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parent)]

from common import on_one_core, table  # noqa: E402

COUNT, ROUNDS = 200, 12
KERNEL_MS, PIXELS_MS = 100, 250


def spread(times: list[float]) -> tuple[float, float]:
    """Return the median and the 95th percentile."""
    ordered = sorted(times)
    return ordered[len(ordered) // 2], ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]


def timed(act: Callable[[], object]) -> float:
    """Return how long something takes, in milliseconds."""
    began = time.process_time()
    act()
    return 1000 * (time.process_time() - began)


class Watch:
    """When a panel's pictures are sent: words may follow a moment later."""

    def __init__(self, panel) -> None:
        self.sent: float | None = None
        panel.table.observe(self._sent, "pictures")

    def _sent(self, _: object) -> None:
        self.sent = time.process_time()

    def timed(self, act: Callable[[], object]) -> float:
        """Return how long it takes to the new pictures, in milliseconds; refuse what brings none."""
        self.sent, began = None, time.process_time()
        act()
        if self.sent is None:
            raise SystemExit("There was no new picture: this measures nothing.")
        return 1000 * (self.sent - began)


def stack_times(names: list[str], panel) -> Iterator[tuple[str, list[float]]]:
    """What a hand does with one stack and with four, each time on pieces that were not laid before."""
    fresh, clock = iter(names), Watch(panel)

    def lay() -> None:
        panel.lay(next(fresh))

    def swap(number: int) -> Callable[[], object]:
        return lambda: panel.swap(number % 3, next(fresh))

    def slide(metres: float) -> Callable[[], object]:
        return lambda: setattr(panel.distance, "value", metres)

    def see(view: str) -> Callable[[], object]:
        return lambda: setattr(panel.view, "value", view)

    first = [clock.timed(lay) for _ in range(3)]
    yield "lay a piece", first + [clock.timed(swap(number)) for number in range(ROUNDS)]
    yield "slide the distance", [clock.timed(slide(0.7 + 0.55 * step)) for step in range(ROUNDS)]
    views = [value for _, value in panel.view.options]
    times = []
    for step in range(ROUNDS):
        panel.distance.value = 1.1 + 0.3 * step  # else the picture would be remembered
        times.append(clock.timed(see(views[(step + 1) % len(views)])))
    yield "another view", times
    panel.view.value = "colour"
    for _ in range(3):
        panel.copy.press()
        swap(1)()
    yield "one of four: swap a piece", [clock.timed(swap(number)) for number in range(ROUNDS)]
    yield "all of four: slide the distance", [clock.timed(slide(0.75 + 0.55 * step)) for step in range(ROUNDS)]
    panel.view.value = "values"
    yield "all of four: slide, in three values", [clock.timed(slide(0.85 + 0.55 * step)) for step in range(ROUNDS)]


def asked_better(names: list[str], panel) -> list[float]:
    """Stacks that want mending, and the pile that is asked."""
    for _ in range(3):
        panel.away.press()
    while panel.desk.session.laying.hand:
        panel.lift(0)
    panel.view.value = "colour"
    times = []
    for start in range(80, 80 + ROUNDS):
        for name in names[start : start + 3]:
            panel.lay(name)
        times.append(timed(panel.mend.press))
        panel.mend.press()
        while panel.desk.session.laying.hand:
            panel.lift(0)
    return times


def in_the_kernel() -> None:
    """Print what the Stack panel takes, and the same picture printed."""
    from made_pile import made_crops, made_table

    from contrastkit.compose.stacks import stack_of
    from contrastkit.panels.desk import Desk
    from contrastkit.panels.session import session_of
    from contrastkit.panels.stack_panel import StackPanel
    from contrastkit.show.stack import stack_picture

    pile = made_table(COUNT)
    crops = made_crops(pile)
    session = session_of(pile, crops)
    began = time.process_time()
    panel = StackPanel(Desk(session))
    opened = 1000 * (time.process_time() - began)
    mixed = [name for pair in zip(pile["swatch_id"][:100], pile["swatch_id"][100:], strict=True) for name in pair]
    stack = stack_of(pile, mixed[:3])

    def print_it() -> None:
        stack_picture(stack, crops, views=("colour", "far"))._repr_html_()

    print_it()  # which loads the fonts
    peer = spread([timed(print_it) for _ in range(5)])[0]
    rows = []
    for what, times in stack_times(mixed, panel):
        median, late = spread(times)
        rows.append([what, f"≤ {KERNEL_MS} ms", f"{median:.0f} ms", f"{late:.0f} ms", f"{peer / median:.0f} ×"])
    median, late = spread(asked_better([piece.swatch_id for piece in session.pieces], panel))
    rows.append(["ask what would be better", "-", f"{median:.0f} ms", f"{late:.0f} ms", "-"])
    rows.append(["open the panel", "-", f"{opened:.0f} ms", "-", "-"])
    rows.append(["the same stack to print, two views", "-", f"{peer:.0f} ms", "-", "1 ×"])
    head = ["what", "asked, 95 %", "median", "95 %", "print/this"]
    print(table(f"Stack panel, {COUNT} pieces, in the kernel", head, rows))


# From a tap or a slide to the picture that has been loaded and can be painted.
_TO_PIXELS = """(act) => new Promise((done) => {
    const image = document.querySelector(".ck-table-picture img"), began = performance.now();
    image.addEventListener("load", () => requestAnimationFrame(() => done(performance.now() - began)), { once: true });
    if (act.tap) document.querySelector(`.ck-table-tray button[data-name="${act.tap}"]`).click();
    else {
        const slide = document.querySelector(".ck-slide-part input");
        slide.value = act.slide;
        slide.dispatchEvent(new Event("input", { bubbles: true }));
    }
})"""


def in_the_page() -> None:
    """Print what it takes in a page of our own server, browser and kernel on the same computer."""
    import numpy as np
    from made_pile import made_crops, made_table
    from playwright.sync_api import sync_playwright
    from served import served

    from contrastkit.keep.catalogue import open_catalogue

    pile = made_table(COUNT)
    whole = {
        name: np.dstack([crop, np.full(crop.shape[:2], 255, np.uint8)]) for name, crop in made_crops(pile).items()
    }
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        folder = Path(name)
        with open_catalogue(folder / "pile.sqlite") as catalogue:
            catalogue.add(pile, crops=whole)
        with served("open", "--no-browser", "--pile", "pile.sqlite", folder=folder) as server:
            browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.goto(f"{server.origin}/stack?token={server.token}")
            page.locator(".ck-table-tray button").nth(COUNT - 1).wait_for()
            names = page.locator(".ck-table-tray button").evaluate_all("all => all.map(each => each.dataset.name)")
            taps = [page.evaluate(_TO_PIXELS, {"tap": names[step * 25]}) for step in range(8)]
            slides = [page.evaluate(_TO_PIXELS, {"slide": 0.7 + 0.3 * step}) for step in range(2 * ROUNDS)]
            browser.close()
    rows = [
        [what, f"≤ {PIXELS_MS} ms", f"{spread(times)[0]:.0f} ms", f"{spread(times)[1]:.0f} ms"]
        for what, times in (("lay a piece, up to eight", taps), ("slide the distance", slides))
    ]
    print(table(f"Stack panel, {COUNT} pieces, to pixels in the page", ["what", "asked", "median", "95 %"], rows))


if __name__ == "__main__":
    if "--page" in sys.argv[1:]:
        in_the_page()
    else:
        on_one_core()
        in_the_kernel()
