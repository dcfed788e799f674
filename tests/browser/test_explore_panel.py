"""The Explore panel in a real page: marks answer hand and keys, picks are seen everywhere, pairs are told in words."""

from __future__ import annotations

import re

import pytest
from by_hand import said


def marks(page, number):
    """The marks of one of the two fields."""
    return page.locator(".ck-field-plot").nth(number).locator("button")


def pressed(page, count):
    """Wait until so many marks of both fields together are picked."""
    page.wait_for_function(
        "count => document.querySelectorAll('.ck-field-plot [aria-pressed=true]').length === count", arg=count
    )


def focused(page):
    return page.evaluate("document.activeElement.getAttribute('aria-label')")


def test_a_piece_is_found_with_the_keys_and_picked_in_both_fields(open_page):
    """Without a mouse no piece could be reached, or the focus would be lost with each pick."""
    page = open_page("explore")
    marks(page, 1).nth(45).wait_for()
    assert marks(page, 0).count() == marks(page, 1).count() == 46
    assert page.locator(".ck-field-plot").first.locator("[tabindex='0']").count() == 1  # one stop, arrows from there
    marks(page, 0).first.focus()
    lightness = []
    for _ in range(5):
        lightness.append(float(re.search(r"L\* (\d+)", focused(page))[1]))
        page.keyboard.press("ArrowRight")
    assert lightness == sorted(lightness)
    low = float(re.search(r"hue (\d+)", focused(page))[1])
    page.keyboard.press("ArrowUp")
    name = focused(page)
    assert float(re.search(r"hue (\d+)", name)[1]) >= low
    page.keyboard.press("Enter")
    pressed(page, 2)
    assert focused(page) == name
    said(page, f"Picked {name.partition(':')[0]}.")
    page.keyboard.press("Enter")
    pressed(page, 0)


def test_a_pair_is_picked_where_it_is_told_and_marked_where_it_lies(open_page):
    """Nobody would find the pair in the palette, or the words say nothing of how sure they are."""
    page = open_page("explore")
    pair = page.locator(".ck-found button").first
    assert re.fullmatch(
        r"\S+ and \S+: [a-z-]+ and [a-z-]+, yet (surely|perhaps) alike in value: \d L\* apart \(± \d\)\. A "
        r"seam between them is lost\.", pair.inner_text(),
    )  # fmt: skip
    pair.click()
    pressed(page, 4)
    assert pair.get_attribute("aria-pressed") == "true"
    tile = pair.locator(".ck-found-tile").first
    assert "blob:" in tile.evaluate("each => getComputedStyle(each).backgroundImage")
    page.get_by_role("button", name="Let go of all picks").click()
    pressed(page, 0)

    page.get_by_role("radio", name="alike in hue, not in value").check()
    page.locator(".ck-found button", has_text="far apart in value").first.wait_for()
    assert page.get_by_label("Values called alike within").is_hidden()
    page.get_by_role("radio", name="vivid: look lighter than they are").check()
    page.locator(".ck-found button", has_text="looks like").first.wait_for()


def test_a_narrower_step_leaves_fewer_pairs(open_page):
    """The slide would move and the list stay."""
    page = open_page("explore")
    page.locator(".ck-found button").first.wait_for()
    slide = page.get_by_label("Values called alike within")
    slide.focus()
    page.keyboard.press("Home")
    said(page, "Alike within 1 L*.")
    steps = page.locator(".ck-found button").evaluate_all("all => all.map(each => each.innerText)")
    assert all(re.search(r": [01] L\* apart", words) for words in steps)


@pytest.mark.parametrize("width", [1280, 390])
def test_the_fields_lie_side_by_side_or_one_below_the_other_and_are_told_in_a_table(open_page, width):
    """A telephone would cut the second field off, or who does not see the fields would have nothing."""
    page = open_page("explore", width)
    first, second = (page.locator(".ck-field-plot").nth(number).bounding_box() for number in (0, 1))
    assert (first["y"] == second["y"]) == (width == 1280)
    assert first["x"] >= 0 and second["x"] + second["width"] <= width
    page.get_by_role("button", name="The palette in numbers").click()
    table = page.get_by_role("table", name="The palette in numbers")
    table.get_by_role("row").nth(46).wait_for()
    assert table.get_by_role("columnheader").all_inner_texts()[:3] == ["piece", "L*", "group"]
