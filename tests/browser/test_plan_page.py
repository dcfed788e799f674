"""The page of a plan in a real browser: on a phone, a tablet and a desk, ticked off, in the dark, and on paper."""

import datetime
import re
from pathlib import Path

import pytest

from contrastkit.compose.cutting import cut_plan
from contrastkit.compose.plan import read_plan
from contrastkit.show.cutlist import PAGE, table_of, write_plan

WIDTHS = [1280, 768, 390]
DEMO = Path(__file__).parents[2] / "data" / "thistlewick" / "plan.toml"


@pytest.fixture(scope="session")
def plan_address(tmp_path_factory):
    plan = read_plan(DEMO)
    folder = tmp_path_factory.mktemp("plan")
    write_plan(plan, cut_plan(plan), folder, table=table_of(plan), made=datetime.date(2031, 4, 2))
    return (folder / PAGE).as_uri()


@pytest.fixture
def opened(browser, plan_address):
    """Open the page at a width; whatever it fetches or complains of makes the test fail."""
    contexts, trouble = [], []

    def open_page(width=1280, **options):
        context = browser.new_context(viewport={"width": width, "height": 900}, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: trouble.append(message.text))
        page.on("request", lambda request: None if request.url.startswith((plan_address, "data:")) else trouble.append(
            request.url))  # fmt: skip
        page.goto(plan_address)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert trouble == []


@pytest.mark.parametrize("width", WIDTHS)
def test_the_page_never_scrolls_sideways(opened, width):
    """A reader on a phone at the cutting table would lose the ends of lines."""
    assert opened(width).evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.parametrize("width", WIDTHS)
def test_boxes_and_links_are_as_large_as_a_fingertip(opened, width):
    """A thumb with paint on it would hit the neighbour: 44 px each way."""
    page = opened(width)
    for target in [*page.locator("a").all(), *page.locator("label.tick").all()]:
        place = target.bounding_box()
        assert place["height"] >= 44 and place["width"] >= 44


@pytest.mark.parametrize("width", WIDTHS)
def test_each_cutting_diagram_is_shown_once_with_type_large_enough(opened, width):
    """Diagrams would come three times, or be too small to read. 15 px: 16 px type shrunk by the margins."""
    page = opened(width)
    for panel in page.locator(".panel").all():
        [svg] = [svg for svg in panel.locator("svg.drawn").all() if svg.is_visible()]
        scale = svg.bounding_box()["width"] / float(svg.get_attribute("viewBox").split()[2])
        assert scale * 16 >= 15


@pytest.mark.parametrize("width", WIDTHS)
def test_every_cell_of_the_cut_list_can_be_read(opened, width):
    """On a phone the heads of the columns would be gone, and numbers stand without saying what they are."""
    page = opened(width)
    row = page.locator(".ticks").first.locator("tbody tr").first
    heads = page.locator(".ticks thead").first
    shown_in_cells = row.locator("td").first.evaluate("el => getComputedStyle(el, '::before').content")
    assert (shown_in_cells == '"how many"') == (width < 640)
    assert (heads.bounding_box()["height"] > 5) == (width >= 640)
    boxes = [span.bounding_box() for span in row.locator("td > span").all()]
    assert all(box["width"] > 5 and box["x"] + box["width"] <= width for box in boxes)


def test_a_tick_strikes_its_row_out_without_any_script(opened):
    """Ticking off would leave no trace."""
    page = opened(java_script_enabled=False)
    page.locator("label.tick").first.click()
    assert page.locator("#tick-1").is_checked()
    page = opened()
    page.locator("#tick-1").focus()
    page.keyboard.press("Space")
    style = page.locator(".ticks tbody tr").first.locator("td").first.evaluate(
        "el => getComputedStyle(el).textDecorationLine"
    )
    assert style == "line-through"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_neutral_in_light_and_dark(opened, scheme):
    """A tint of the page would change how the blocks look."""
    page = opened(color_scheme=scheme)
    colours = page.evaluate("""() => [...document.querySelectorAll('body, body *:not(a, a *)')].flatMap(element => {
        const style = getComputedStyle(element);
        return [style.color, style.backgroundColor, style.borderTopColor, style.fill, style.stroke];
    })""")
    for colour in {colour for colour in colours if colour.startswith("rgb")}:
        numbers = re.findall(r"[\d.]+", colour)
        assert numbers[0] == numbers[1] == numbers[2], colour


def test_the_next_step_leads_to_the_cut_list(opened):
    """The one accented control would lead nowhere."""
    page = opened()
    page.get_by_role("link", name="See the cut list").click()
    assert abs(page.locator("#cut").bounding_box()["y"]) < 40
    assert page.get_by_role("region", name=re.compile("Cut list: 108 squares")).count() == 1


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_it_prints_on_either_paper(opened, paper, points):
    """Pages would be cut off or empty."""
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", opened().pdf(format=paper))
    assert 7 <= len(boxes) <= 11
    for width, height in boxes:
        assert (float(width), float(height)) == pytest.approx(points, abs=1)


def test_on_paper_everything_has_its_true_size_and_controls_are_gone(opened):
    """What is wider than the paper makes browsers shrink all of it, and the drawings lie about their scale."""
    page = opened(703)  # 186 mm, what A4 leaves between its margins
    page.emulate_media(media="print")
    for control in ("nav", ".next"):
        assert not page.locator(control).is_visible()
    assert page.evaluate("document.documentElement.scrollWidth") <= 703
    assert page.locator(".true-size").bounding_box()["width"] == pytest.approx(50 * 96 / 25.4, abs=0.5)
    chart = page.locator(".printed img").first.bounding_box()
    assert chart["width"] == pytest.approx(198 * 96 / 25.4, abs=0.5)  # 186 mm and the chart's own margins of 6 mm
