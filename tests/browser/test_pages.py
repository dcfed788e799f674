"""The pages: on a phone and a desk, in light and dark, by keyboard, for screen readers, and when something stops."""

from __future__ import annotations

import re
import signal

import pandas as pd
import pytest
from served import served, until

from contrastkit.keep.catalogue import open_catalogue
from contrastkit.panels.serving import PAGES

WIDTHS = [1280, 768, 390]
HOSTILE = '<img src=x onerror="document.title=1"><script>document.title=2</script>&amp;{{7*7}}"\''

each_page = pytest.mark.parametrize("name", PAGES)


def kernels(server):
    return [each for each in server.children() if "ipykernel_launcher" in each.cmdline()]


def kernel_of(page):
    """The number by which the page's kernel is known."""
    return page.evaluate("JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId")


def process_of(server, kernel):
    [process] = [each for each in kernels(server) if kernel in " ".join(each.cmdline())]
    return process


# --- seen, heard, and reached ---


@each_page
@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
def test_no_serious_barrier_on_any_page(open_page, name, width, dark):
    """Somebody who reads with ears, keys or little sight could not do the job."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    found = axe.run(open_page(name, width, dark)).response["violations"]
    serious = [
        (each["id"], each["help"], [node["html"][:200] for node in each["nodes"]])
        for each in found if each["impact"] in ("serious", "critical")
    ]  # fmt: skip
    assert serious == []


@each_page
def test_no_page_scrolls_sideways(open_page, name):
    """A reader on a phone would lose the ends of lines."""
    page = open_page(name)
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 844})
        page.wait_for_function(f"document.documentElement.clientWidth === {width}")
        page.wait_for_function("document.documentElement.scrollWidth <= innerWidth")


@each_page
def test_the_panels_are_there_and_nothing_failed(open_page, name):
    """A page would show its prose and not its work."""
    page = open_page(name)
    assert page.locator(".ck-panel").count() == (5 if name == "whole_job" else 1)
    assert page.locator(".ck-failed").count() == 0
    assert page.locator("h1").count() == 1
    assert page.locator("#ck-progress").inner_text() == ""
    assert "import contrastkit" not in page.locator("body").inner_text()


def test_pages_lead_to_each_other_without_the_key_in_the_address(open_page):
    """Somebody would have to go back to the terminal for each step of the work."""
    page = open_page("plan")
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Sort").click()
    page.wait_for_url("**/sort")
    page.locator("html[data-ready=true]").wait_for(state="attached")
    assert page.locator("nav [aria-current=page]").inner_text() == "Sort"
    assert page.evaluate("document.cookie.includes('contrastkit')") is False  # no script can read it


def test_the_first_key_leads_past_the_navigation(open_page):
    """A keyboard user would go through all the links on every page."""
    page = open_page("plan")
    page.keyboard.press("Tab")
    skip = page.get_by_role("link", name="Skip to the work")
    assert skip.evaluate("el => el === document.activeElement")
    assert skip.bounding_box()["y"] >= 0
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.tagName") == "MAIN"


@pytest.mark.parametrize("width", WIDTHS)
def test_links_of_the_navigation_are_as_large_as_a_fingertip(open_page, width):
    """A thumb would hit the neighbour: 44 px each way."""
    for link in open_page("plan", width).locator("nav a").all():
        place = link.bounding_box()
        assert place["height"] >= 44 and place["width"] >= 44


@pytest.mark.parametrize("dark", [False, True])
def test_the_page_is_neutral_in_light_and_dark(open_page, dark):
    """A tint of the page would change how every piece looks."""
    page = open_page("sort", dark=dark)
    colours = page.evaluate("""() =>
        [...document.querySelectorAll('body, header, nav, nav *, main, main > section, h1, p')]
        .filter(element => !element.closest('a[href]') || element.closest('nav'))
        .flatMap(element => [getComputedStyle(element).color, getComputedStyle(element).backgroundColor])""")
    for colour in {colour for colour in colours if colour.startswith("rgb")}:
        numbers = re.findall(r"[\d.]+", colour)
        assert numbers[0] == numbers[1] == numbers[2], colour
    tone = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (int(re.findall(r"\d+", tone)[0]) < 60) == dark


def test_the_typeface_of_the_project_is_used(open_page):
    """Letters that are hard to tell apart would stand beside our own charts."""
    page = open_page("plan")
    page.wait_for_function("[...document.fonts].some(f => f.family.includes('Atkinson') && f.status === 'loaded')")
    assert "Atkinson Hyperlegible Next" in page.evaluate("getComputedStyle(document.querySelector('h1')).fontFamily")


# --- while it works, and when it stops ---


def test_a_sentence_says_what_is_going_on_until_the_panel_is_there(in_browser, pages, pile):
    """Whoever waits before an empty page reloads it, and waits again."""
    page = in_browser(f"{pages.origin}/plan?token={pages.token}")
    progress = page.locator("#ck-progress")
    page.wait_for_function("document.getElementById('ck-progress')?.textContent.length > 0")
    assert progress.get_attribute("role") == "status"
    page.locator("html[data-ready=true]").wait_for(state="attached")
    assert progress.inner_text() == ""


def test_a_page_whose_kernel_died_says_so_and_can_be_opened_again(open_page, pages):
    """Buttons would answer nothing any more, and nobody would know why."""
    page = open_page("plan")
    kernel = kernel_of(page)
    process_of(pages, kernel).kill()
    alert = page.get_by_role("alert").filter(has_text="What works behind this page has stopped.")
    alert.wait_for()
    assert "All that was kept is safe" in alert.inner_text()
    alert.get_by_role("button", name="Open the page again").click()
    page.wait_for_function(f"!document.documentElement.textContent.includes('{kernel}')")
    page.locator("html[data-ready=true]").wait_for(state="attached")
    assert kernel_of(page) != kernel


def test_a_page_whose_server_stopped_says_how_to_start_it(in_browser, tmp_path):
    """The same, when the program in the terminal was ended."""
    with served("open", "plan", "--no-browser", folder=tmp_path) as server:
        page = in_browser(server.address, expected=(f":{server.port}/",))
        page.locator("html[data-ready=true]").wait_for(state="attached")
        server.stop(signal.SIGINT)
        alert = page.get_by_role("alert").filter(has_text="no longer running")
        alert.wait_for()
        assert "contrastkit open" in alert.inner_text()


def test_closing_a_page_stops_its_kernel(open_page, pages):
    """Each page that was ever open would keep its share of the memory."""
    page = open_page("plan")
    process = process_of(pages, kernel_of(page))
    page.close(run_before_unload=True)
    until(lambda: not process.is_running(), "the kernel is stopped")


# --- whatever a name or a note holds ---


@each_page
def test_hostile_names_and_notes_are_text(open_page, pile, name):
    """A name from a table somebody sent would run as a program in the page."""
    with open_catalogue(pile, who="tester") as catalogue:
        catalogue.add(pd.DataFrame({"swatch_id": [f"a {HOSTILE}", "b"], "lightness": [12.0, 88.0]}),
                      ground=HOSTILE, place=HOSTILE, side="5in")
        catalogue.note([f"a {HOSTILE}", "b"], HOSTILE)
        catalogue.tag([f"a {HOSTILE}"], add=["<b>tag</b>"])
    page = open_page(name)
    title = page.title()
    assert title.endswith("?")
    assert page.locator("main img[src=x], main script:not([type])").filter(has_text="document.title").count() == 0
    assert page.locator("img[onerror]").count() == 0


# --- nothing to begin with ---


@each_page
def test_an_empty_pile_is_told_what_to_do_first(open_page, pile, name):
    """The first thing that anybody sees is an empty pile."""
    pile.unlink()
    page = open_page(name)
    assert page.locator(".ck-failed").count() == 0
    assert "If it is still empty" in page.locator("main").inner_text()
