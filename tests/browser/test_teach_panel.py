"""The Teach panel in a real page: an order is laid by hand and by keys, given in, judged, and kept."""

from __future__ import annotations


def numbers(page):
    """The pieces' numbers as they lie, from dark to light."""
    return [each.get_attribute("data-number") for each in page.locator(".ck-order button").all()]


def lies(page, *first):
    """Wait until these numbers lie first."""
    page.wait_for_function(
        "(first) => JSON.stringify([...document.querySelectorAll('.ck-order button')].slice(0, first.length)"
        ".map((each) => each.dataset.number)) === JSON.stringify(first)", arg=list(first),
    )


def begun(page):
    """Begin an exercise of six pieces."""
    page.get_by_label("How many pieces").select_option("6")
    page.get_by_role("button", name="Begin a new exercise").click()
    page.wait_for_function("document.querySelectorAll('.ck-order button').length === 6")


def test_an_order_is_laid_by_keys_and_by_hand_given_in_and_judged(open_page):
    """Learners would sort and nothing would come of it."""
    page = open_page("teach")
    begun(page)
    assert numbers(page) == ["1", "2", "3", "4", "5", "6"]

    # By keys: hold the first, move it one place lighter, lay it with its darker neighbour.
    first = page.locator(".ck-order button[data-number='1']")
    first.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowRight")
    lies(page, "2", "1", "3")
    assert page.locator(".ck-order button[data-number='1']").get_attribute("aria-pressed") == "true"
    page.keyboard.press("=")
    page.wait_for_function("document.querySelectorAll('.ck-order-place').length === 5")
    page.get_by_role("button", name="Undo", exact=True).click()
    page.wait_for_function("document.querySelectorAll('.ck-order-place').length === 6")
    page.get_by_role("status").filter(has_text="Undone").first.wait_for()

    # By hand: the last before the first.
    piece = page.locator(".ck-order button[data-number='6']").bounding_box()
    place = page.locator(".ck-order-place").first.bounding_box()
    page.mouse.move(piece["x"] + 20, piece["y"] + 20)
    page.mouse.down()
    page.mouse.move(place["x"] + 5, place["y"] + 30, steps=6)
    page.mouse.up()
    lies(page, "6", "2", "1")

    page.get_by_label("Name or initials").fill("Wren <img src=x onerror=alert(1)>")
    page.get_by_label("Name or initials").press("Tab")
    page.get_by_role("button", name="Give in this order").click()
    page.get_by_role("heading", name="given in by Wren <img").wait_for()
    page.get_by_role("table", name="To look at again").wait_for()
    assert page.locator(".ck-panel img[src='x']").count() == 0
    page.get_by_text("Agreement: tau-b").wait_for()

    page.get_by_role("button", name="How the class did").click()
    page.get_by_role("button", name="Keep the results").click()
    page.get_by_role("status").filter(has_text="1 result is kept").first.wait_for()
    page.reload()
    page.get_by_role("button", name="How the class did").click()
    page.get_by_role("cell", name="Wren <img src=x onerror=alert(1)>").first.wait_for()


def test_sheets_come_as_pdf_and_a_telephone_has_room(open_page):
    """The teacher would stand without paper; on a telephone the page would slide sideways."""
    page = open_page("teach")
    if page.get_by_label("How many pieces").is_hidden():
        page.get_by_role("button", name="Another exercise").click()
    begun(page)
    page.get_by_role("button", name="On paper").click()
    page.get_by_role("button", name="Make the sheets to print").click()
    with page.expect_download() as download:
        page.get_by_role("link", name="Sheets to cut out (PDF)").click()
    with open(download.value.path(), "rb") as file:
        assert file.read(5) == b"%PDF-"
    page.set_viewport_size({"width": 390, "height": 844})
    page.wait_for_function("document.documentElement.scrollWidth <= 390")
