"""The whole job by hand, in a real browser: from three photographs to a plan, kept, and found again after a reload."""

from __future__ import annotations

import re

import pytest
from by_hand import ask_for_better, corner, drag, drop, lay, ready, said
from demo import PHOTOS, keep_demo
from served import served

from contrastkit.keep.catalogue import open_catalogue

BOARDS = [PHOTOS / name for name in ("evening-scale.jpg", "noon-chart.jpg", "morning-card.jpg")]


def go(page, name):
    """To another page by its link."""
    page.get_by_role("navigation", name="Pages").get_by_role("link", name=name, exact=True).click()
    page.wait_for_url(f"**/{name.lower()}")
    page.locator("nav [aria-current=page]", has_text=name).wait_for()
    ready(page)


def layers(page):
    return page.locator(".ck-table-layers li b").all_inner_texts()


def edge(page):
    return page.get_by_role("slider", name="Edge between dark and medium")


def test_the_whole_job_is_done_by_hand_and_found_again(open_page, pile):
    """Each panel would work by itself, and the job not be done with all of them."""
    pile.unlink()
    page = open_page("photograph")

    # Three photographs are dropped, one outline is corrected, and all is kept.
    drop(page, *BOARDS)
    page.get_by_label("Photograph", exact=True).select_option(label="3 of 3: morning-card.jpg")
    page.get_by_text("16 pieces found, 1 to check, card read").first.wait_for()
    before = page.locator('.ck-piece[data-key="piece morning-card-05"] .ck-line').get_attribute("points")
    drag(page, corner(page, "morning-card-05", 1), 9, 4)
    said(page, "Outlined anew: morning-card-05")
    after = page.locator('.ck-piece[data-key="piece morning-card-05"] .ck-line').get_attribute("points")
    assert before != after
    page.get_by_role("button", name=re.compile("^Keep these 46 pieces")).click()
    said(page, "46 pieces kept in")
    with open_catalogue(pile) as catalogue:
        assert len(catalogue.table()) == 46

    # The pile is sorted, an edge is moved and kept.
    go(page, "Sort")
    page.get_by_role("heading", name=re.compile(r"\d+ dark, \d+ medium, \d+ light")).wait_for()
    counts = page.locator(".ck-strip-band").all_inner_texts()
    drag(page, edge(page).locator(".ck-strip-grip"), 0.16 * page.locator(".ck-strip-field").bounding_box()["width"])
    page.wait_for_function(
        "(before) => [...document.querySelectorAll('.ck-strip-band')].map(band => band.innerText).join() !== before",
        arg=",".join(counts),
    )
    moved = edge(page).get_attribute("aria-valuenow")
    assert 54 <= float(moved) <= 58
    page.get_by_role("button", name="Keep these edges").click()
    said(page, "edges")

    # A stack is laid, made better and kept.
    go(page, "Stack")
    laid = lay(page, 3)
    assert layers(page) == laid[::-1]
    ask_for_better(page)
    offered = page.locator(".ck-table-offer button").first
    better = offered.get_attribute("data-name")
    offered.click()
    page.locator(".ck-table-layers li b", has_text=better).wait_for()
    stacked = layers(page)
    assert stacked != laid[::-1] and better in stacked
    page.get_by_role("button", name="Keep", exact=True).click()
    said(page, re.compile("[Kk]ept"))

    # Blocks are planned, and the plan is kept.
    go(page, "Plan")
    page.get_by_label("How many", exact=True).fill("2")
    page.get_by_label("How many", exact=True).press("Enter")
    page.get_by_role("heading", name=re.compile("^2 blocks")).wait_for()
    page.get_by_role("button", name="Keep the plan").click()
    said(page, re.compile("[Kk]ept"))

    # All of it is there again when the pages are opened anew.
    page.reload()
    ready(page)
    page.get_by_role("heading", name=re.compile("^2 blocks")).wait_for()
    assert page.get_by_label("How many", exact=True).input_value() == "2"
    go(page, "Stack")
    page.locator(".ck-table-layers li").nth(2).wait_for()
    assert layers(page) == stacked
    go(page, "Sort")
    assert edge(page).get_attribute("aria-valuenow") == moved
    assert page.locator(".ck-strip-field button").count() == 46
    go(page, "Photograph")
    drop(page, BOARDS[2])
    said(page, "known already")  # so it will not be kept twice


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    pytest.importorskip("jupyterlab", reason="jupyterlab is not installed")
    folder = tmp_path_factory.mktemp("lab")
    keep_demo(folder / "pile.sqlite")
    with served("lab", "whole_job", "--no-browser", "--pile", "pile.sqlite", folder=folder) as server:
        yield server


def run_all(page):
    """Run all cells of the notebook that is open in JupyterLab."""
    page.locator(".jp-NotebookPanel .jp-RenderedMarkdown h1").first.wait_for()
    page.locator(".jp-Notebook-ExecutionIndicator[data-status=idle]").first.wait_for()
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()


def test_the_tour_runs_in_jupyterlab_with_its_panels_on_one_desk(in_browser, lab):
    """Who opens the notebooks themselves would see code and errors, or panels that know nothing of one another."""
    page = in_browser(lab.address, width=1400)
    run_all(page)
    strip = page.locator(".ck-strip-field")
    strip.scroll_into_view_if_needed()
    edge(page).wait_for()
    drag(page, edge(page).locator(".ck-strip-grip"), 0.1 * strip.bounding_box()["width"])
    page.wait_for_function("document.querySelector('.ck-strip-edge').getAttribute('aria-valuenow') !== '40'")
    dark = re.search(r"\d+", page.locator(".ck-strip-band").first.inner_text().replace("dark", ""))[0]

    page.locator(".ck-table-tray").scroll_into_view_if_needed()
    page.locator(".ck-table-group h4", has_text=f"dark, {dark}").wait_for()
    laid = lay(page, 3)
    assert layers(page) == laid[::-1]
    assert page.locator(".ck-panel").count() == 5
    assert page.locator(".jp-OutputArea-output[data-mime-type*=stderr]").count() == 0
