"""The report in a real browser: on a phone, a tablet and a desk, by keyboard, in the dark, and on paper."""

import re

import numpy as np
import pytest
from made_pile import BREAKS, made_crops, made_table

from contrastkit.show.choice import best_stacks
from contrastkit.show.pieces import pieces_dark_to_light
from contrastkit.show.report import Failure, PhotoPage, write_report

WIDTHS = [1280, 768, 390]
TABLE = made_table(20)


@pytest.fixture(scope="session")
def address(tmp_path_factory):
    pages = [
        PhotoPage(name, np.full((900, 1200, 3), 200, np.uint8), 10 / 3, f"State of {name}.")
        for name in sorted(set(TABLE["photo"]))
    ]
    crops = made_crops(TABLE, size=120)
    path = write_report(
        tmp_path_factory.mktemp("study"), TABLE, crops, pages, [Failure("veil.jpg", "The card is burnt out.")], BREAKS,
        title="Short of lights: 3 of 20", sentences=["State."], best=best_stacks(TABLE, crops),
    )
    return path.as_uri()


@pytest.fixture
def opened(browser, address):
    """Open the page at a width; whatever it fetches or complains of makes the test fail."""
    contexts, trouble = [], []

    def open_page(width=1280, **options):
        context = browser.new_context(viewport={"width": width, "height": 900}, java_script_enabled=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: trouble.append(message.text))
        page.on("request", lambda request: trouble.append(request.url) if not local(request.url, address) else None)
        page.goto(address)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert trouble == []


def local(url, address):
    return url == address or url.startswith("data:")


def box(page, selector):
    return page.locator(selector).first.bounding_box()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_page_never_scrolls_sideways(opened, width):
    """A reader on a phone would lose the ends of lines."""
    page = opened(width)
    assert page.evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.parametrize("width", WIDTHS)
def test_pieces_run_from_dark_bottom_left_to_light_top_right(opened, width):
    """The one order that is the same everywhere would be broken by the width of the window."""
    page = opened(width)
    places = [page.locator(f"#piece-{number}").bounding_box() for number in range(1, 21)]
    keys = [(-round(place["y"] + place["height"]), place["x"]) for place in places]
    assert keys == sorted(keys)
    assert page.locator("#piece-1 strong").inner_text() == pieces_dark_to_light(TABLE)[0].swatch_id


@pytest.mark.parametrize("width", WIDTHS)
def test_a_piece_and_its_grey_are_of_one_size_and_touch(opened, width):
    """The eye could not compare them. Places are rounded to sixty-fourths of a pixel."""
    page = opened(width)
    for number in range(1, 21):
        piece, grey = box(page, f"#piece-{number} img"), box(page, f"#piece-{number} .pair > span")
        assert (piece["width"], piece["height"]) == pytest.approx((grey["width"], grey["height"]), abs=0.1)
        assert piece["x"] + piece["width"] == pytest.approx(grey["x"], abs=0.1)
        assert piece["y"] == pytest.approx(grey["y"], abs=0.1)


@pytest.mark.parametrize("width", WIDTHS)
def test_just_one_drawing_of_each_kind_is_shown_and_its_type_is_large_enough(opened, width):
    """Charts would come three times, or be too small to read. 15 px: 16 px type in a drawing shrunk by the margins."""
    page = opened(width)
    shown = [svg for svg in page.locator("svg.drawn").all() if svg.is_visible()]
    assert len(shown) == 3  # balance, strip, pairs
    for svg in shown:
        scale = svg.bounding_box()["width"] / float(svg.get_attribute("viewBox").split()[2])
        assert scale * 16 >= 15


@pytest.mark.parametrize("width", WIDTHS)
def test_what_is_pressed_is_as_large_as_a_fingertip(opened, width):
    """A thumb would hit the neighbour: 44 px each way."""
    page = opened(width)
    for link in [*page.locator("a").all(), *page.locator("fieldset label").all()]:
        place = link.bounding_box()
        assert place["height"] >= 44 and place["width"] >= 44


@pytest.mark.parametrize("width", WIDTHS)
def test_stacks_are_square_large_enough_and_beside_their_grey_view(opened, width):
    """A stack would be stretched, too small to judge, or stand over the numbers of another."""
    page = opened(width)
    stacks = page.locator(".stack").all()
    assert len(stacks) == 6
    for stack in stacks:
        colour, grey = (picture.bounding_box() for picture in stack.locator("img").all())
        for picture in (colour, grey):
            assert picture["width"] == pytest.approx(picture["height"], abs=0.1)
        assert colour["width"] >= 150 and 60 <= grey["width"] < 0.6 * colour["width"]
        assert grey["x"] >= colour["x"] + colour["width"]
        place = stack.bounding_box()
        assert place["x"] + place["width"] <= width
        for part in stack.locator("img, li, .beside span").all():
            box = part.bounding_box()
            assert box["x"] >= place["x"] - 0.1 and box["x"] + box["width"] <= place["x"] + place["width"] + 0.1


def test_the_bottom_layer_is_lowest_and_steps_stand_between(opened):
    """The stair would be upside down, or a step be read as that of another seam."""
    page = opened()
    for stack in page.locator(".stack").all():
        bars = [bar.bounding_box()["y"] for bar in stack.locator(".bar").all()]
        assert bars == sorted(bars, reverse=True)
        rises = [rise.bounding_box() for rise in stack.locator(".rise").all()]
        for rise, lower, upper in zip(rises, bars, bars[1:], strict=False):
            assert rise["y"] + rise["height"] / 2 == pytest.approx(lower, abs=4)
            assert upper < lower - 20


def test_the_surround_of_the_stacks_follows_the_choice(opened):
    """Pieces and stacks would be judged against different greys on one page."""
    page = opened()
    page.locator("label", has_text="dark").click()
    tone = page.locator(".stack .mat").first.evaluate("el => getComputedStyle(el).backgroundColor")
    assert tone == "rgb(38, 38, 38)"  # L* 15


def test_the_surround_is_chosen_by_keyboard_alone(opened):
    """Whoever cannot use a mouse could not judge against another surround."""
    page = opened()
    mat = page.locator("#piece-1 .mat")
    tone = "el => getComputedStyle(el).backgroundColor"
    assert mat.evaluate(tone) == "rgb(119, 119, 119)"  # L* 50
    page.locator("#surround-middle").focus()
    page.keyboard.press("ArrowRight")
    assert mat.evaluate(tone) == "rgb(38, 38, 38)"  # L* 15
    page.locator("#surround-dark").focus()
    page.keyboard.press("ArrowRight")
    assert mat.evaluate(tone) == "rgb(232, 232, 232)"  # L* 92


def test_focus_is_seen(opened):
    """A keyboard user would not know where she is."""
    page = opened()
    page.keyboard.press("Tab")
    style = page.evaluate("getComputedStyle(document.activeElement).outlineStyle + document.activeElement.className")
    assert style == "solidnext"


def test_the_next_step_leads_to_the_pieces_to_check(opened):
    """The one accented control would lead nowhere."""
    page = opened()
    page.get_by_role("link", name=re.compile("pieces to check")).click()
    assert abs(box(page, "#check")["y"]) < 40
    page.locator("#check a").first.click()
    name = page.locator("#check a").first.inner_text()
    assert page.locator(":target strong").inner_text() == name


def test_it_all_works_without_scripts(browser, address):
    """Where scripts are switched off, as in many mail programs, the page would be dead."""
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    page.locator("label", has_text="dark").click()
    assert page.locator("#surround-dark").is_checked()
    assert page.locator(".piece").count() == 20
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_neutral_in_light_and_dark(opened, scheme):
    """A tint of the page would change how every swatch looks."""
    page = opened(color_scheme=scheme)
    colours = page.evaluate("""() => [...document.querySelectorAll('body, body *:not(a, a *)')].flatMap(element => {
        const style = getComputedStyle(element);
        return [style.color, style.backgroundColor, style.borderTopColor, style.fill, style.stroke];
    })""")
    for colour in {colour for colour in colours if colour.startswith("rgb")}:
        numbers = re.findall(r"[\d.]+", colour)
        assert numbers[0] == numbers[1] == numbers[2], colour
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground == {"light": "rgb(243, 243, 243)", "dark": "rgb(31, 31, 31)"}[scheme]  # L* 96 and 12


def test_our_typeface_is_used(opened):
    """The page would be set in whatever the reader's computer has."""
    page = opened()
    assert page.evaluate("document.fonts.check('16px \"Atkinson Hyperlegible Next\"')")
    assert {face for face in page.evaluate("[...document.fonts].map(face => face.status)")} == {"loaded"}


def test_headings_pictures_and_lists_have_names_for_a_screen_reader(opened):
    """The parts of the page could not be told apart by ear."""
    page = opened()
    assert page.get_by_role("main").count() == 1
    assert page.get_by_role("region", name="The pile, from dark to light").count() == 1
    assert page.get_by_role("list", name="Pieces from dark to light").get_by_role("listitem").count() == 20
    darkest = pieces_dark_to_light(TABLE)[0]
    assert page.get_by_role("img", name=f"{darkest.swatch_id}: L* {darkest.lightness_words}, dark").count() == 1


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_it_prints_on_either_paper(opened, paper, points):
    """Pages would be cut off or empty."""
    data = opened().pdf(format=paper)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)
    assert 3 <= len(boxes) <= 9
    for width, height in boxes:
        assert (float(width), float(height)) == pytest.approx(points, abs=1)


def test_on_paper_the_controls_are_gone_and_the_bar_has_its_true_size(opened):
    """Buttons on paper cannot be pressed; without the bar nobody knows whether the print was shrunk."""
    page = opened(703)
    page.emulate_media(media="print")
    for control in ("nav", ".next", ".surrounds"):
        assert not page.locator(control).is_visible()
    assert box(page, ".true-size")["width"] == pytest.approx(50 * 96 / 25.4, abs=0.5)
    assert page.evaluate("getComputedStyle(document.querySelector('#piece-1')).breakInside") == "avoid"
