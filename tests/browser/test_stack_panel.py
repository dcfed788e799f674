"""The Stack panel in a real page: laid by hand and by keyboard, seen other ways, made better, compared."""

from __future__ import annotations

import re

import pytest
from by_hand import ask_for_better, lay, said


def layers(page, stack=0):
    """Names of a stack's layers, top first."""
    return page.locator(".ck-table-stack").nth(stack).locator(".ck-table-layers li b").all_inner_texts()


def until_layers(page, *names):
    """Wait until the stack at hand is these, top first."""
    page.wait_for_function(
        """names => {
            const [first] = document.querySelectorAll('.ck-table-stack');
            const at = document.querySelector('.ck-table-stack[data-at="true"]') || first;
            return [...at.querySelectorAll('.ck-table-layers li b')].map(name => name.innerText).join('|') === names;
        }""",
        arg="|".join(names),
    )


def brightness(page):
    """Of the middle of the first picture, 0-255 a channel."""
    return page.evaluate("""async () => {
        const image = document.querySelector('.ck-table-picture img');
        await image.decode();
        const canvas = document.createElement('canvas');
        Object.assign(canvas, { width: image.naturalWidth, height: image.naturalHeight });
        const context = canvas.getContext('2d');
        context.drawImage(image, 0, 0);
        return [...context.getImageData(canvas.width / 2, canvas.height / 2, 1, 1).data].slice(0, 3);
    }""")


def another_picture(page, act):
    """Do something, and wait until there is another picture."""
    before = page.locator(".ck-table-picture img").first.get_attribute("src")
    act()
    page.wait_for_function(
        "before => { const image = document.querySelector('.ck-table-picture img');"
        " return image.src !== before && image.complete && image.naturalWidth > 0; }",
        arg=before,
    )


@pytest.mark.parametrize("width", [1280, 390])
def test_a_stack_is_laid_seen_and_made_better(open_page, width):
    """What works without a page would not work in one."""
    page = open_page("stack", width=width)
    page.get_by_role("heading", name="Tap a piece: it becomes the bottom layer.").wait_for()
    laid = lay(page, 3)
    assert layers(page) == laid[::-1]
    page.get_by_role("heading", name=re.compile("^Weakest seam: ")).wait_for()
    picture = page.get_by_role("img", name=re.compile("^Stack A in colour, from 0.5 m: bottom "))
    picture.wait_for()

    # By lamplight, in grey, from across the room.
    another_picture(page, lambda: page.get_by_label("by a warm lamp").check())
    another_picture(page, lambda: page.get_by_label("in grey").check())
    red, green, blue = brightness(page)
    assert red == green == blue
    another_picture(page, lambda: page.get_by_label("From", exact=True).fill("5"))
    page.get_by_text("as seen from 5 m", exact=True).wait_for()
    page.get_by_text("is as large as from 5 m").wait_for()
    assert page.locator(".ck-table-small img").bounding_box()["width"] < picture_width(page) / 2

    # What is better is tapped in, and taken back.
    ask_for_better(page)
    offered = page.locator(".ck-table-offer button").first
    name = offered.get_attribute("data-name")
    offered.click()
    page.locator(".ck-table-layers li b", has_text=name).wait_for()
    said(page, f"{name} in the place of")
    page.get_by_role("button", name="Undo", exact=True).click()
    until_layers(page, *laid[::-1])
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def picture_width(page):
    return page.locator(".ck-table-picture > img").first.bounding_box()["width"]


def test_all_is_done_with_the_keyboard(open_page):
    """Whoever cannot use a mouse could lay nothing."""
    page = open_page("stack")
    tray = page.get_by_role("group", name="The pile, dark to light: tap a piece to lay it")
    tray.get_by_role("button").first.focus()
    names = tray.get_by_role("button").evaluate_all("all => all.map(each => each.dataset.name)")
    page.keyboard.press("Enter")
    until_layers(page, names[0])
    page.keyboard.press("End")
    page.keyboard.press("Enter")
    until_layers(page, names[-1], names[0])
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Enter")
    until_layers(page, names[-2], names[-1], names[0])
    assert tray.get_by_role("button", name=f"{names[-1]}, L* ").get_attribute("aria-pressed") == "true"

    # Through the layers, and one of them down; the focus stays on it.
    page.locator(".ck-table-layers button").first.focus()
    page.keyboard.press("Alt+ArrowDown")
    until_layers(page, names[-1], names[-2], names[0])
    focused = "document.activeElement.innerText.split('\\n')[0]"
    assert page.evaluate(focused) == names[-2]
    page.keyboard.press("ArrowDown")
    assert page.evaluate(focused) == names[0]

    # Chosen, swapped for another, let go, lifted out.
    page.keyboard.press("Enter")
    page.get_by_text(f"{names[0]} is chosen: tap the piece to put in its place.").wait_for()
    tray.get_by_role("button", name=re.compile(f"^{re.escape(names[1])}, ")).focus()
    page.keyboard.press("Enter")
    until_layers(page, names[-1], names[-2], names[1])
    page.locator(".ck-table-layers button").nth(1).focus()
    page.keyboard.press("Enter")
    page.locator(".ck-table-tools").wait_for()
    page.keyboard.press("Escape")
    page.locator(".ck-table-tools").wait_for(state="detached")
    page.keyboard.press("Delete")
    until_layers(page, names[-1], names[1])
    assert page.evaluate("document.activeElement.closest('.ck-table-layers') !== null")


def test_stacks_side_by_side_and_dark(open_page):
    """A second stack would be drawn over the first, or be lost on a dark page."""
    page = open_page("stack", dark=True)
    laid = lay(page, 2)
    for number in range(3):
        page.get_by_role("button", name="A copy beside it").click()
        page.get_by_role("button", name=f"Stack {'BCD'[number]}, at hand").wait_for()
    assert page.get_by_role("button", name="A copy beside it").is_disabled()
    page.get_by_role("button", name="Take stack B").click()
    page.get_by_role("button", name="Stack B, at hand").wait_for()
    page.locator(f".ck-table-tray button[data-name='{laid[1]}']").click()
    until_layers(page, laid[0])
    assert layers(page, 0) == layers(page, 2) == laid[::-1]
    boxes = [page.locator(".ck-table-picture > img").nth(number).bounding_box() for number in range(4)]
    assert len({(box["x"], box["y"]) for box in boxes}) == 4
    page.get_by_role("button", name="Take this stack away").click()
    page.wait_for_function("document.querySelectorAll('.ck-table-stack').length === 3")
