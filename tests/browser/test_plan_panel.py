"""The Plan panel in a real page: the wall answers hand and keyboard, a bad entry is said at its field, it prints."""

from __future__ import annotations


def drawn(page):
    """Wait until both pictures are there."""
    page.wait_for_function(
        "[...document.querySelectorAll('.ck-wall-field img')].filter(image => image.naturalWidth > 0).length === 2"
    )


def plan_by_hand(page):
    """What someone does with the panel, from a first look to the printed page."""
    drawn(page)
    wall = page.get_by_role("listbox", name="Blocks of the wall")
    chosen = wall.locator("[aria-selected=true]")
    assert wall.get_by_role("option").count() == 4
    assert "Block, 1" in chosen.get_attribute("aria-label")

    # With the keyboard: to the next block, and down a row.
    wall.focus()
    page.keyboard.press("ArrowRight")
    page.get_by_role("heading", name="Block, 2 of 4").wait_for()
    page.keyboard.press("ArrowDown")
    page.get_by_role("heading", name="Block, 4 of 4").wait_for()
    active = page.locator(f"#{wall.get_attribute('aria-activedescendant')}")
    assert active.get_attribute("aria-selected") == "true"

    # With the hand.
    wall.get_by_role("option").nth(2).click()
    page.get_by_role("heading", name="Block, 3 of 4").wait_for()

    # A bad entry changes nothing and is said beside its field.
    count = page.get_by_label("How many", exact=True)
    count.fill("none")
    count.press("Enter")
    problem = page.get_by_text("count must be a whole number from 1 to 1000; got 'none'")
    problem.wait_for()
    assert count.get_attribute("aria-invalid") == "true"
    assert problem.get_attribute("id") in count.get_attribute("aria-describedby")
    assert wall.get_by_role("option").count() == 4

    # A good one draws another wall; undo brings the first back.
    count.fill("2")
    count.press("Enter")
    page.get_by_role("heading", name="2 blocks").wait_for()
    page.wait_for_function("document.querySelectorAll('.ck-wall-block').length === 2")
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_role("heading", name="4 blocks").wait_for()

    # The cut list is a real table.
    page.get_by_role("button", name="Cut list, shopping list and days").click()
    table = page.get_by_role("table", name="Squares of painted cloth, and a square of web for each")
    table.get_by_role("row").nth(3).wait_for()
    assert table.get_by_role("columnheader").first.inner_text() == "how many"

    # The printed page opens by itself, whole.
    page.get_by_role("button", name="Print the plan").click()
    link = page.get_by_role("link", name="Open the page to print it")
    link.wait_for()
    page.get_by_role("status").filter(has_text="Printed to").first.wait_for()
    with page.context.expect_page() as opened:
        link.click()
    printed = opened.value
    printed.get_by_role("heading", name="As it will hang").wait_for()
    printed.close()


def test_a_wall_is_planned_by_hand_and_by_keyboard_and_printed(open_page):
    """The panel would look right and answer nothing."""
    plan_by_hand(open_page("plan"))


def test_a_phone_has_room_for_the_wall_and_nothing_runs_over_its_edge(open_page):
    """On a telephone the wall would be cut off, or the page slide sideways."""
    page = open_page("plan")
    page.set_viewport_size({"width": 390, "height": 844})
    drawn(page)
    page.wait_for_function("document.documentElement.scrollWidth <= 390")
    box = page.get_by_role("listbox", name="Blocks of the wall").bounding_box()
    assert box["x"] >= 0 and box["x"] + box["width"] <= 390
