"""What a hand does in the panels, on whatever page they are, and waits for by what it then sees."""

from __future__ import annotations

import re
from pathlib import Path

_DROP = """(zone, input) => {
    const data = new DataTransfer();
    for (const file of document.getElementById(input).files) data.items.add(file);
    for (const kind of ["dragenter", "dragover", "drop"]) {
        zone.dispatchEvent(new DragEvent(kind, { dataTransfer: data, bubbles: true, cancelable: true }));
    }
    document.getElementById(input).remove();
}"""


def said(page, words):
    """Wait until a panel says these words of what was done."""
    page.get_by_role("status").filter(has_text=words).first.wait_for()


def drop(page, *photos: Path):
    """Drop photographs where they are to be dropped, and wait until all are measured."""
    page.evaluate("""() => {
        const input = document.createElement("input");
        Object.assign(input, { type: "file", multiple: true, id: "from-a-folder", hidden: true });
        document.body.append(input);
    }""")
    page.locator("#from-a-folder").set_input_files(photos)
    page.locator(".ck-drop").evaluate(_DROP, "from-a-folder")
    said(page, f"{photos[-1].name}: ")
    page.wait_for_function("[...document.querySelectorAll('.ck-board-stage img')].some(image => image.naturalWidth)")


def point_at(page, piece: str):
    """Point at a piece on the photograph, and wait until it is said what is known of it."""
    page.locator(f'.ck-board .ck-piece[data-key="piece {piece}"]').click()
    page.get_by_role("heading", name=piece, exact=True).wait_for()


def corner(page, piece: str, number: int):
    """Return a corner of a piece on the photograph, once the piece has been pointed at."""
    point_at(page, piece)
    found = page.get_by_role("button", name=re.compile(rf"^Corner {number} of \d+ of {re.escape(piece)},"))
    found.wait_for()
    return found


def drag(page, what, across: float, down: float = 0.0):
    """Drag a thing by so many pixels, as a hand does: in steps."""
    what.scroll_into_view_if_needed()
    box = what.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 6):
        page.mouse.move(x + across * step / 5, y + down * step / 5)
    page.mouse.up()


def lay(page, layers: int = 3):
    """Lay pieces on one another, from the dark end of the pile to the light end."""
    page.locator(".ck-table-tray button").nth(layers).wait_for()
    names = page.locator(".ck-table-tray button").evaluate_all("all => all.map(each => each.dataset.name)")
    chosen = [names[round(place * (len(names) - 1) / (layers - 1))] for place in range(layers)]
    for number, name in enumerate(chosen, 1):
        page.locator(f".ck-table-tray button[data-name='{name}']").click()
        page.locator(".ck-table-layers li").nth(number - 1).wait_for()
    page.wait_for_function("document.querySelector('.ck-table-picture img').naturalWidth > 0")
    return chosen


def ask_for_better(page):
    """Ask what would be better, and wait for the answer."""
    page.get_by_role("button", name="What would be better here?").click()
    page.locator(".ck-table-better h4").wait_for()


def ready(page):
    """Wait until all panels of a page are there."""
    page.locator("html[data-ready=true]").wait_for(state="attached")
