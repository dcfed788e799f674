"""The Sort panel in a real page: edges follow a slow hand, a finger and the keys; pieces are picked, filtered, kept."""

from __future__ import annotations

import re

import pytest
from by_hand import said


def edge(page, names="dark and medium"):
    return page.get_by_role("slider", name=f"Edge between {names}")


def at(slider):
    return float(slider.get_attribute("aria-valuenow"))


def pieces(page):
    return page.locator(".ck-strip-field button")


def balance(page):
    return page.locator(".ck-panel h3").first.inner_text()


def balance_changed(page, before):
    """Wait until the kernel has counted anew, and return its words."""
    page.wait_for_function("before => document.querySelector('.ck-panel h3').innerText !== before", arg=before)
    return balance(page)


def field_and_keep(page):
    """Where the strip begins, and the next step."""
    return [each.bounding_box()["y"] for each in (
        page.locator(".ck-strip-field"), page.get_by_role("button", name="Keep these edges"))]  # fmt: skip


def overlapping(page):
    """How many pairs of pieces share more than half a pixel of the strip."""
    return page.evaluate("""() => {
        const all = [...document.querySelectorAll(".ck-strip-field button")];
        const boxes = all.map(each => each.getBoundingClientRect());
        const apart = (a, b) => a.right <= b.left + 0.5 || b.right <= a.left + 0.5
            || a.bottom <= b.top + 0.5 || b.bottom <= a.top + 0.5;
        return boxes.flatMap((a, place) => boxes.slice(place + 1).filter(b => !apart(a, b))).length;
    }""")


def test_a_slow_hand_keeps_its_edge_and_the_counts_follow(open_page):
    """The first answer would take the edge out of the hand, or the counts wait until it lets go."""
    page = open_page("sort")
    slider, width = edge(page), page.locator(".ck-strip-field").bounding_box()["width"]
    slider.locator(".ck-strip-grip").scroll_into_view_if_needed()
    grip = slider.locator(".ck-strip-grip").bounding_box()
    x, y = grip["x"] + grip["width"] / 2, grip["y"] + grip["height"] / 2
    words = balance(page)
    page.mouse.move(x, y)
    page.mouse.down()
    for step in (1, 2, 3):  # each of 8 L*, and each is answered before the next
        page.mouse.move(x + step * 0.08 * width, y)
        assert at(slider) == pytest.approx(40 + 8 * step, abs=0.5)
        words = balance_changed(page, words)
    page.mouse.up()
    said(page, re.compile(r"Edge between dark and medium: L\* 64"))
    assert slider.evaluate("each => each === document.activeElement")
    page.get_by_role("button", name="Undo", exact=True).click()
    page.wait_for_function("document.querySelector('.ck-strip-edge').getAttribute('aria-valuenow') === '40'")
    page.get_by_role("button", name="Undo", exact=True, disabled=True).wait_for()  # the whole drag was one step


def test_an_edge_is_moved_with_the_keys_and_stays_in_their_reach(open_page):
    """After one key the focus would be gone, and with it the edge."""
    page = open_page("sort")
    slider, words = edge(page), balance(page)
    slider.focus()
    assert re.fullmatch(r"L\* 40; \d+ dark, \d+ medium", slider.get_attribute("aria-valuetext"))
    for key, to in (("ArrowRight", 40.5), ("ArrowUp", 41), ("PageUp", 46), ("PageUp", 51), ("ArrowLeft", 50.5),
                    ("PageDown", 45.5)):  # fmt: skip
        page.keyboard.press(key)
        assert at(slider) == to
    said(page, "Edge between dark and medium: L* 45.5.")
    words = balance_changed(page, words)
    page.keyboard.press("End")
    assert at(slider) == 69  # it stops short of its neighbour
    balance_changed(page, words)
    said(page, "Edge between dark and medium: L* 69.")
    page.keyboard.press("Home")
    assert at(slider) == 1
    said(page, "Edge between dark and medium: L* 1.")
    assert slider.evaluate("each => each === document.activeElement")


def test_an_edge_is_dragged_with_a_finger(open_page):
    """On a telephone the page would scroll under the finger, and the edge stay."""
    page = open_page("sort", width=390, has_touch=True, is_mobile=True)
    slider = edge(page, "medium and light")
    grip = slider.locator(".ck-strip-grip")
    grip.scroll_into_view_if_needed()
    box, width = grip.bounding_box(), page.locator(".ck-strip-field").bounding_box()["width"]
    assert box["width"] >= 44 and box["height"] >= 44
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    words = balance(page)
    client = page.context.new_cdp_session(page)
    scrolled, places = page.evaluate("scrollY"), field_and_keep(page)
    client.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in range(1, 6):
        point = {"x": x - 0.02 * step * width, "y": y}
        client.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    client.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    said(page, re.compile("Edge between medium and light"))
    assert at(slider) == pytest.approx(60, abs=1)
    balance_changed(page, words)
    assert (page.evaluate("scrollY"), field_and_keep(page)) == (scrolled, places)  # nothing jumped under the hand


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_no_piece_hides_another_and_each_lies_at_its_lightness(open_page, width):
    """A piece would be counted and not seen, or stand for another lightness than it has. To half a pixel."""
    page = open_page("sort", width)
    pieces(page).nth(45).wait_for()
    assert overlapping(page) == 0
    field = page.locator(".ck-strip-field").bounding_box()
    for piece in pieces(page).all()[::9]:
        box = piece.bounding_box()
        shown = (box["x"] + box["width"] / 2 - field["x"]) / field["width"] * 100
        told = float(re.search(r"L\* (\d+)", piece.get_attribute("aria-label"))[1])
        assert shown == pytest.approx(told, abs=0.5 + 50 / field["width"])


def test_pieces_are_picked_by_hand_and_keys_even_under_an_edge(open_page):
    """The edge would lie on the very pieces that are in doubt, or the keys lead nowhere."""
    page = open_page("sort")
    doubtful = page.locator(".ck-strip-field button.ck-strip-doubt").first
    doubtful.wait_for()
    assert re.search(r"borderline \w+/\w+, about [3-8] in 10 that it is \w+", doubtful.get_attribute("aria-label"))
    assert page.get_by_text("Dashed frame: borderline").is_visible()
    doubtful.click()  # playwright would refuse, were anything lying on it
    said(page, "Picked")
    page.wait_for_function("document.activeElement.getAttribute('aria-pressed') === 'true'")
    first = page.evaluate("document.activeElement.getAttribute('aria-label')")
    for key in ("ArrowLeft", "ArrowRight", "ArrowRight", "ArrowUp", "ArrowDown"):
        page.keyboard.press(key)
    second = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert second != first
    page.keyboard.press("Enter")
    page.wait_for_function("document.querySelectorAll('.ck-strip-field [aria-pressed=true]').length === 2")
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == second
    page.get_by_role("button", name="Let go of all picks").click()
    page.wait_for_function("document.querySelectorAll('.ck-strip-field [aria-pressed=true]').length === 0")


def test_the_pile_is_seen_in_grey_and_asked_for_in_words_and_the_edges_are_kept(open_page):
    """The controls would change nothing on the strip, or nothing be found after a reload."""
    page = open_page("sort")
    picture = "getComputedStyle(document.querySelector('.ck-strip-field button')).backgroundImage"
    colour = page.evaluate(picture)
    page.get_by_role("radio", name="in true grey").check()
    page.wait_for_function(f"{picture} !== {colour!r}")
    page.get_by_role("radio", name="as many in each").check()
    page.wait_for_function("document.querySelector('.ck-panel h3').innerText.startsWith('Well balanced: 15 dark')")
    page.get_by_label("Groups", exact=True).select_option("5")
    page.wait_for_function("document.querySelectorAll('.ck-strip-edge').length === 4")

    page.get_by_role("button", name="Show only some").click()
    words = page.get_by_label("Or in your own words")
    words.fill("very dark on red ground")
    words.press("Enter")
    page.get_by_text("of 46 pieces are in view; the counts are those of all 46.").wait_for()
    labels = pieces(page).evaluate_all("all => all.map(each => each.getAttribute('aria-label'))")
    assert labels and all(re.search("evening-scale-.*, very dark[.;]", label) for label in labels)
    words.fill("gruond=red")
    words.press("Enter")
    page.get_by_role("alert").filter(has_text="the nearest it can ask for is 'ground'").wait_for()
    assert words.get_attribute("aria-invalid") == "true"
    page.get_by_role("button", name="Show all again").click()
    page.wait_for_function("document.querySelectorAll('.ck-strip-field button').length === 46")

    edges = [at(slider) for slider in page.locator(".ck-strip-edge").all()]
    page.get_by_role("button", name="Keep these edges").click()
    said(page, re.compile("are kept with"))
    page.reload()
    page.locator("html[data-ready=true]").wait_for(state="attached")
    page.locator(".ck-strip-edge").nth(3).wait_for()
    assert [at(slider) for slider in page.locator(".ck-strip-edge").all()] == pytest.approx(edges)
