"""The Photograph panel in a real page: photographs dropped, outlines corrected by hand and by keys, pieces kept."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

PHOTOS = sorted((Path(__file__).parents[2] / "data" / "thistlewick" / "photos").glob("*.jpg"))


@pytest.fixture
def empty(pages, pile):
    """No catalogue yet, as on the first day."""
    pile.unlink()
    return pile


def drop(page, files):
    page.locator("input[type=file]").set_input_files(files)


def dropped(page):
    """The page with the three demo photographs on it, the morning's in view."""
    drop(page, PHOTOS)
    page.get_by_role("heading", name="3 photographs, 46 pieces found").wait_for()
    page.get_by_label("Photograph", exact=True).select_option(label="2 of 3: morning-card.jpg")
    piece(page, "morning-card-16").wait_for()
    return page


def piece(page, name):
    return page.locator("svg").get_by_role("button", name=re.compile(f"^{re.escape(name)}, "))


def lightness(page, name):
    return int(re.search(r"L\* (\d+)", piece(page, name).get_attribute("aria-label"))[1])


def wait_for_lightness(page, name, other_than):
    page.wait_for_function(
        "([name, old]) => [...document.querySelectorAll('svg [role=button]')].map((mark) => mark.ariaLabel || '')"
        ".some((words) => words.startsWith(name + ', ') && !words.includes(`L* ${old} `))",
        arg=[name, other_than],
    )


def corner(page, place):
    return page.locator("svg").get_by_role("button", name=re.compile(f"^Corner {place} of "))


def focused(page):
    return page.evaluate("document.activeElement.ariaLabel || ''")


def wait_for_focus(page, words):
    page.wait_for_function("(words) => (document.activeElement.ariaLabel || '').startsWith(words)", arg=words)


def test_photographs_are_dropped_one_outline_corrected_kept_and_found_again(open_page, empty):
    """The first thing anyone does with it would not work."""
    page = open_page("photograph")
    page.get_by_role("heading", name="Drop photographs of your pieces here, or choose them.").wait_for()
    dropped(page)

    # a corner dragged far out onto the white board, with the mouse
    old = lightness(page, "morning-card-08")
    piece(page, "morning-card-08").click()
    page.get_by_role("heading", name="morning-card-08").wait_for()
    corner(page, 1).scroll_into_view_if_needed()
    box = corner(page, 1).bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 20, y - 20, steps=4)
    page.mouse.up()
    page.get_by_role("status").filter(has_text="Outlined anew: morning-card-08").first.wait_for()
    wait_for_lightness(page, "morning-card-08", old)
    new = lightness(page, "morning-card-08")
    assert new > old
    page.get_by_text(re.compile(rf"^L\* {new} ± ")).wait_for()
    page.get_by_role("button", name="Outline as it was found").wait_for()

    page.get_by_label("Name", exact=True).fill("<b>sun<b>")
    page.get_by_label("Name", exact=True).press("Enter")
    page.get_by_role("heading", name="<b>sun<b>").wait_for()

    page.get_by_role("button", name="Keep these 46 pieces").click()
    page.get_by_role("status").filter(has_text="46 pieces kept in").first.wait_for()
    page.get_by_role("button", name="All pieces are kept").wait_for()
    assert len(list((empty.parent / "photos").iterdir())) >= 3

    # opened anew: the pile is there, and the photographs are known
    page.reload()
    page.locator("html[data-ready=true]").wait_for(state="attached")
    page.get_by_role("heading", name="Drop photographs of your pieces here, or choose them.").wait_for()
    drop(page, PHOTOS[1:2])
    found = re.compile(r"^16 pieces found, .*card read at L\* 49.5 ± 0.3, all kept")
    page.get_by_role("heading", name=found).wait_for()
    page.get_by_role("status").filter(has_text="known already, as morning-card.jpg").first.wait_for()
    assert lightness(page, "<b>sun<b>") == new  # as it was outlined by hand
    piece(page, "<b>sun<b>").click()
    page.get_by_text("Kept as <b>sun<b>.").wait_for()


def test_an_outline_is_corrected_by_keys_alone(open_page, empty):
    """Whoever cannot use a mouse could correct nothing."""
    page = open_page("photograph")
    dropped(page)
    old = lightness(page, "morning-card-08")
    piece(page, "morning-card-08").focus()
    page.keyboard.press("Enter")
    corner(page, 1).wait_for()
    wait_for_focus(page, "Corner 1 of 4 of morning-card-08, row ")
    start = focused(page)
    page.keyboard.press("ArrowRight")
    row, col = map(int, re.search(r"row (\d+), column (\d+)", start).groups())
    wait_for_focus(page, f"Corner 1 of 4 of morning-card-08, row {row}, column {col + 1}.")
    for _ in range(12):
        page.keyboard.press("Shift+ArrowUp")
    wait_for_lightness(page, "morning-card-08", old)
    assert f"row {row - 120}, column {col + 1}." in focused(page)

    # another corner and back, one corner more, one less
    page.keyboard.press("Tab")
    assert focused(page).startswith("Corner 2 of 4")
    page.keyboard.press("+")
    wait_for_focus(page, "Corner 2 of 5")
    page.get_by_role("status").filter(has_text="Outlined anew").first.wait_for()
    page.keyboard.press("Enter")
    wait_for_focus(page, "morning-card-08, L* ")

    # discarded by Delete, and taken back
    page.keyboard.press("Delete")
    page.get_by_role("heading", name="3 photographs, 45 pieces found").wait_for()
    page.get_by_role("button", name="Bring it back").click()
    page.get_by_role("heading", name="3 photographs, 46 pieces found").wait_for()
    page.get_by_role("button", name="Outline as it was found").click()
    page.wait_for_function(
        "(old) => [...document.querySelectorAll('svg [role=button]')].some((mark) =>"
        " mark.getAttribute('aria-label').startsWith(`morning-card-08, L* ${old} `))", arg=old,
    )  # fmt: skip

    # Escape leaves the outline as it was when the keys came to it
    piece(page, "morning-card-08").focus()
    page.keyboard.press("Enter")
    wait_for_focus(page, "Corner 1 of 4 of morning-card-08, row ")
    for _ in range(12):
        page.keyboard.press("Shift+ArrowUp")
    wait_for_lightness(page, "morning-card-08", old)
    page.keyboard.press("Escape")
    page.wait_for_function(
        "(old) => [...document.querySelectorAll('svg [role=button]')].some((mark) =>"
        " mark.getAttribute('aria-label').startsWith(`morning-card-08, L* ${old} `))", arg=old,
    )  # fmt: skip
    assert focused(page).startswith("morning-card-08")


def test_a_missed_piece_is_drawn_and_the_card_pointed_at(open_page, empty):
    """What was not found by itself could not be helped."""
    page = open_page("photograph")
    dropped(page)

    # by hand: three corners, and the outline closed
    page.get_by_role("button", name="Draw a missed piece").click()
    page.get_by_role("button", name="Close the outline", exact=True).wait_for()
    wait_for_focus(page, "Cross at row ")
    box = page.locator("svg").last.bounding_box()
    for x, y in ((0.44, 0.42), (0.50, 0.42), (0.50, 0.50)):
        page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
    page.get_by_text("3 corners set.").wait_for()
    page.get_by_role("button", name="Close the outline", exact=True).click()
    page.get_by_role("heading", name="3 photographs, 47 pieces found").wait_for()
    piece(page, "morning-card-17").wait_for()

    # by keys: the cross is moved, corners set by Space, closed by Enter
    page.get_by_role("button", name="Draw a missed piece").click()
    wait_for_focus(page, "Cross at row ")
    for keys in (["ArrowUp"] * 3, ["ArrowRight"] * 3, ["ArrowDown"] * 3):
        for key in keys:
            page.keyboard.press(key)
        page.keyboard.press("Space")
    page.get_by_text("3 corners set.").wait_for()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="3 photographs, 48 pieces found").wait_for()

    # pointing at the board is refused in words, pointing at the card is not
    page.get_by_role("button", name="What it is measured against").click()
    page.get_by_role("button", name="Point at it").click()
    wait_for_focus(page, "Cross at row ")
    box = page.locator("svg").last.bounding_box()
    page.mouse.click(box["x"] + 0.97 * box["width"], box["y"] + 0.97 * box["height"])
    page.get_by_role("status").filter(has_text="A grey card must read far darker than white").first.wait_for()
    page.get_by_role("button", name="Point at it").click()
    wait_for_focus(page, "Cross at row ")
    box = page.locator("svg").last.bounding_box()
    page.mouse.click(box["x"] + 0.52 * box["width"], box["y"] + 0.83 * box["height"])
    again = re.compile(r"Measured again: 18 pieces found, .*card read at L\* 49.5")
    page.get_by_role("status").filter(has_text=again).first.wait_for()

    # Escape leaves either
    page.get_by_role("button", name="Draw a missed piece").click()
    wait_for_focus(page, "Cross at row ")
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Close the outline", exact=True).wait_for(state="hidden")


def test_what_is_no_photograph_is_refused_in_words_and_the_others_go_on(open_page, empty, tmp_path):
    """One bad file would stop the page, or its name would run in it."""
    hostile = "<img src=x onerror=window.ran=1>.png"
    (tmp_path / "letter.jpg").write_text("Dear all")
    (tmp_path / hostile).write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(5000))
    large = tmp_path / "film.jpg"
    with open(large, "wb") as file:
        file.truncate(201_000_000)
    small = tmp_path / "plain <i>board<i>.png"
    pixels = np.full((300, 400, 3), 230, np.uint8)
    pixels[100:200, 150:250] = (120, 60, 50)
    Image.fromarray(pixels).save(small)

    page = open_page("photograph")
    drop(page, [tmp_path / "letter.jpg", tmp_path / hostile, large, small])
    page.get_by_text("'letter.jpg' is text, whatever its name says").wait_for()
    page.get_by_text(f"{hostile}: A photo must be").wait_for()
    page.get_by_text("A photo must be at most 200 MB to be dropped here; 'film.jpg' has 201 MB.").wait_for()
    page.get_by_role("heading", name="1 piece found, 1 to check, nothing grey to measure against").wait_for()
    piece(page, "plain <i>board<i>-01").click()
    page.get_by_role("heading", name="plain <i>board<i>-01").wait_for()
    page.get_by_text("or point at it under “What it is measured against”").wait_for()
    assert page.evaluate("window.ran === undefined && !document.querySelector('.ck-panel i, .ck-panel img[src=x]')")
    page.get_by_role("button", name="Put these away").click()
    page.get_by_text("These could not be used:").wait_for(state="hidden")


@pytest.mark.parametrize("width", [390, 768])
def test_a_telephone_has_room_and_a_finger_can_drag_a_corner(open_page, empty, width):
    """On a telephone nothing could be corrected, or the page would slide sideways."""
    page = open_page("photograph", width=width, has_touch=True, is_mobile=width == 390)
    dropped(page)
    page.wait_for_function("(width) => document.documentElement.scrollWidth <= width", arg=width)
    old = lightness(page, "morning-card-08")
    page.get_by_role("button", name="Closer").click()
    piece(page, "morning-card-08").focus()
    page.keyboard.press("Enter")
    corner(page, 1).scroll_into_view_if_needed()
    box = corner(page, 1).bounding_box()
    assert min(box["width"], box["height"]) >= 43.5  # a finger's width, whatever the zoom
    touch = page.context.new_cdp_session(page)
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    for kind, points in (
        ("touchStart", [{"x": x, "y": y}]), ("touchMove", [{"x": x - 8, "y": y - 8}]),
        ("touchMove", [{"x": x - 16, "y": y - 14}]), ("touchEnd", []),
    ):  # fmt: skip
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    page.get_by_role("status").filter(has_text="Outlined anew: morning-card-08").first.wait_for()
    wait_for_lightness(page, "morning-card-08", old)
