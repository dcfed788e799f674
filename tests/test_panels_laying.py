"""The Stack panel without a page: every control's effect on the session, what is refused, what is kept and found."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_pile import made_crops, made_table
from PIL import Image

from contrastkit.compose.seams import Surface
from contrastkit.compose.stacks import default_sides, judge_stack, stack_of
from contrastkit.errors import InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.projects import Project
from contrastkit.light.lightness import lightness_to_luminance
from contrastkit.light.vision import as_seen_by, lab_through, lamp_matrix
from contrastkit.panels import laying as hand
from contrastkit.panels import stack_words as words
from contrastkit.panels.desk import Desk, open_desk
from contrastkit.panels.laying import MOST_LAYERS, NONE, Bench, Laying
from contrastkit.panels.session import session_of
from contrastkit.panels.stack_panel import StackPanel

NAMES = ["dusk", "clay", "moss", "sand", "rain", "snow"]
LEVELS = [18.0, 34.0, 46.0, 58.0, 71.0, 92.0]


def pile(**columns):
    """Six pieces, dark to light."""
    return pd.DataFrame({"swatch_id": NAMES, "lightness": LEVELS, "lightness_sigma": 0.5} | columns)


def flat_crops(levels=None):
    """Even grey pictures of that lightness."""
    codes = {}
    for name, level in (levels or dict(zip(NAMES, LEVELS, strict=True))).items():
        light = float(lightness_to_luminance(level))
        code = round(255 * (12.92 * light if light <= 0.0031308 else 1.055 * light ** (1 / 2.4) - 0.055))
        codes[name] = np.full((80, 80, 3), code, np.uint8)
    return codes


@pytest.fixture
def session():
    return session_of(pile())


@pytest.fixture
def panel():
    return StackPanel(Desk(session_of(pile(), flat_crops())))


@pytest.fixture
def kept(tmp_path):
    """A panel on a catalogue whose pieces have pictures, and where the catalogue is."""
    where, table = tmp_path / "pile.sqlite", made_table(20)
    crops = {
        name: np.dstack([crop, np.full(crop.shape[:2], 255, np.uint8)])
        for name, crop in made_crops(table, size=100).items()
    }
    with open_catalogue(where) as catalogue:
        catalogue.add(table, crops=crops)
    return StackPanel(open_desk(where, project="evening")), where


def laying(panel):
    return panel.desk.session.laying


def picture(panel, number=0):
    """The large picture of a stack, 8-bit."""
    return np.asarray(Image.open(io.BytesIO(panel.table.pictures[2 * number])))


def build(panel, *names):
    for name in names:
        panel.lay(name)


# --- the frozen part --------------------------------------------------------------------------------------------------


def test_pieces_are_laid_one_on_another(session):
    """The second piece would lie under the first, or the first be forgotten."""
    assert hand.laid(hand.laid(session, "dusk"), "sand").laying.hand == ("dusk", "sand")
    assert session.laying.hand == ()  # nothing is changed in place


def test_a_second_tap_lifts_a_piece(session):
    """A piece would lie in a stack twice: there is only one of it."""
    session = hand.laid(hand.laid(session, "dusk"), "sand")
    assert hand.laid(session, "dusk").laying.hand == ("sand",)


def test_a_tap_goes_to_the_chosen_layer(session):
    """There would be no way to change a layer without taking off all above it."""
    session = hand.laid(hand.laid(session, "dusk"), "sand")
    swapped = hand.laid(hand.choosing(session, 0), "rain")
    assert swapped.laying.hand == ("rain", "sand")
    assert swapped.laying.layer == NONE


def test_a_piece_of_the_same_stack_changes_places(session):
    """Swapping in a piece from the same stack would leave it in there twice."""
    session = hand.laid(hand.laid(hand.laid(session, "dusk"), "sand"), "snow")
    assert hand.swapped(session, 0, "snow").laying.hand == ("snow", "sand", "dusk")


def test_layers_are_lifted_and_moved(session):
    """A layer in the middle could not be taken out, or would go the wrong way."""
    session = hand.laid(hand.laid(hand.laid(session, "dusk"), "sand"), "snow")
    assert hand.lifted(session, 1).laying.hand == ("dusk", "snow")
    assert hand.moved(session, 0, 1).laying.hand == ("sand", "dusk", "snow")
    assert hand.moved(session, 2, -1).laying.hand == ("dusk", "snow", "sand")
    assert hand.moved(hand.choosing(session, 0), 0, 1).laying.layer == 1
    assert hand.moved(hand.choosing(session, 2), 0, 1).laying.layer == NONE  # another was chosen: nothing is by mistake


def test_stacks_stand_side_by_side(session):
    """A variation could not be compared with what it varies."""
    session = hand.another(hand.laid(session, "dusk"), copy=True)
    assert session.laying.stacks == (("dusk",), ("dusk",))
    assert session.laying.at == 1
    session = hand.laid(session, "sand")
    assert session.laying.stacks == (("dusk",), ("dusk", "sand"))
    session = hand.another(session)
    assert session.laying.hand == ()
    assert hand.at_stack(session, 0).laying.hand == ("dusk",)
    gone = hand.without(session, 0).laying
    assert (gone.stacks, gone.at) == ((("dusk", "sand"), ()), 1)
    assert hand.without(hand.without(hand.without(session, 0), 0), 0).laying.stacks == ((),)


def test_picked_pieces_are_laid_in_their_order(session):
    """Picks made in another panel would have to be looked for again."""
    session = session.picking("snow").picking("dusk")
    assert hand.with_picked(session).laying.hand == ("snow", "dusk")
    with pytest.raises(InvalidInputError, match=r"One to 8 pieces must be picked; got 0\. Pick them in another panel"):
        hand.with_picked(replace(session, picked=()))


def test_layers_that_left_the_pile_are_cleared(session):
    """A piece that was used elsewhere would be counted among the layers, and the next tap go to the wrong one."""
    session = hand.laid(hand.laid(hand.laid(session, "dusk"), "sand"), "snow")
    less = session.with_pile(pile().drop(index=0), {})
    assert hand.cleared(less).laying.hand == ("sand", "snow")
    assert hand.lifted(less, 0).laying.hand == ("snow",)
    assert hand.cleared(session) is session


def test_what_the_hand_cannot_do_is_said(session):
    """It would stop with a traceback, or do something else."""
    nameless = session_of(pile(lightness=[math.nan, *LEVELS[1:]]))
    with pytest.raises(InvalidInputError, match=r"A piece must be in the pile; 'none' is not"):
        hand.laid(session, "none")
    with pytest.raises(InvalidInputError, match=r"of known lightness; that of 'dusk' is not known\. Photograph"):
        hand.laid(nameless, "dusk")
    with pytest.raises(InvalidInputError, match=r"There must be such a layer; the stack at hand has 0\. Lay a piece"):
        hand.lifted(session, 0)
    with pytest.raises(InvalidInputError, match=r"a layer to change places with; 'dusk' is the last that way"):
        hand.moved(hand.laid(session, "dusk"), 0, 1)
    with pytest.raises(InvalidInputError, match=r"There must be such a stack; there are 1\. Choose one of them"):
        hand.at_stack(session, 1)
    with pytest.raises(InvalidInputError, match=r"There must be such a stack; there are 1"):
        hand.without(session, -1)
    four = hand.another(hand.another(hand.another(session)))
    with pytest.raises(InvalidInputError, match=r"There is room for 4 stacks side by side\. Take one away first"):
        hand.another(four)
    many = session_of(pd.DataFrame({"swatch_id": [f"p{n}" for n in range(9)], "lightness": 10.0 * np.arange(9)}))
    for number in range(MOST_LAYERS):
        many = hand.laid(many, f"p{number}")
    with pytest.raises(InvalidInputError, match=r"A stack must have 8 layers at most; this one has\. Lift one"):
        hand.laid(many, "p8")


@pytest.mark.parametrize(("change", "message"), [
    ({"view": "sepia"}, r"A view must be one of colour, grey, values, lamp, protan, deutan, tritan; got 'sepia'"),
    ({"surround": "red"}, r"surround must be one of light, middle, dark; got 'red'"),
    ({"distance_mm": 100.0}, r"A distance in mm must lie in 500-8000; got 100"),
    ({"rim_mm": -1.0}, r"The rim in mm must lie in 0-25\.4; got -1"),
    ({"background": 101.0}, r"The background's L\* must lie in 0-100; got 101"),
    ({"rim_lightness": math.nan}, r"The rims' L\* must lie in 0-100; got nan"),
])  # fmt: skip
def test_no_impossible_way_to_look(session, change, message):
    """A message from a page could leave the panel in a state that it cannot draw."""
    with pytest.raises(InvalidInputError, match=message):
        hand.looking(session, **change)


# --- sizes ------------------------------------------------------------------------------------------------------------


def test_sizes_are_read_as_people_write_them(session):
    """Three and five eighths of an inch would be refused, or taken for millimetres."""
    sides = hand.with_sizes(session, '3 5/8, 2 5/8", 48 mm').laying.sides
    assert sides == pytest.approx((92.075, 66.675, 48))
    assert hand.with_sizes(session, " ").laying.sides == ()
    assert hand.with_rim(session, "1/8").laying.rim_mm == pytest.approx(3.175)
    assert hand.with_rim(session, "").laying.rim_mm == 0
    with pytest.raises(InvalidInputError, match=r"smaller than the one below; got 2, 3\. Give the cut sides"):
        hand.with_sizes(session, "2, 3")
    with pytest.raises(InvalidInputError, match=r"A cut side must be"):
        hand.with_sizes(session, "wide")


def test_usual_sizes_unless_others_are_asked_for():
    """The panel would draw other proportions than the plan cuts."""
    layers = [Surface(name, 50) for name in "abc"]
    assert hand.sides_of(Laying(), layers) == default_sides(3)
    assert hand.sides_of(Laying(), []) == ()
    assert hand.sides_of(Laying(sides=(80.0,)), layers) == default_sides(3, base_mm=80.0)
    assert hand.sides_of(Laying(sides=(80.0, 50.0, 20.0)), layers[:2]) == (80.0, 50.0)


def test_usual_sizes_are_made_smaller_for_small_pieces():
    """A stack of small pieces could not be looked at, though it could be made."""
    layers = [Surface("a", 30, side=60), Surface("b", 60), Surface("c", 80)]
    sides = hand.sides_of(Laying(), layers)
    assert sides[0] == pytest.approx(60)
    prints = [side - 2 * hand.RIM for side in sides]
    usual = [side - 2 * hand.RIM for side in default_sides(3)]
    assert np.divide(prints, usual) == pytest.approx(np.full(3, prints[0] / usual[0]))
    with pytest.raises(InvalidInputError, match=r"'a' gives 2\.36 in, and 3 in is asked\. Make the sizes or the rim"):
        hand.sides_of(Laying(sides=(76.2, 50.0, 30.0)), layers)


# --- judged -----------------------------------------------------------------------------------------------------------


def test_a_stack_is_judged_by_what_shows_of_its_pieces():
    """A dark middle that is covered would count, or only the number in the table."""
    crop = np.full((80, 80, 3), 250, np.uint8)
    crop[24:56, 24:56] = 20  # covered by the next layer
    bench = Bench(pile(), {**flat_crops(), "rain": crop})
    judged = hand.judged(Laying(), ("rain", "dusk"), bench)
    assert judged.score.seams[0].lightness_below > 95
    stack = stack_of(pile(), ["rain", "dusk"], sides=default_sides(2), rim=hand.RIM)
    assert judge_stack(stack).seams[0].lightness_below == 71


def test_without_pictures_the_table_is_judged():
    """A table without photographs could not be used."""
    judged = hand.judged(Laying(), ("dusk", "sand", "snow"), Bench(pile(), {}))
    stack = stack_of(pile(), ["dusk", "sand", "snow"], sides=default_sides(3), rim=hand.RIM)
    expected = judge_stack(stack, distance_mm=500.0)
    assert judged.score.points == expected.points
    assert judged.score.sentences == expected.sentences


def test_a_single_layer_and_a_problem_are_told_not_raised():
    """The picture would vanish as soon as something does not fit."""
    bench = Bench(pile(side=50.0), {})
    assert hand.judged(Laying(), (), bench).score is None
    one = hand.judged(Laying(), ("dusk",), bench)
    assert (one.score, one.problem, len(one.sides)) == (None, "", 1)
    large = hand.judged(Laying(sides=(80.0, 40.0)), ("dusk", "sand"), bench)
    assert large.score is None
    assert "'dusk' gives 1.97 in, and 3.15 in is asked" in large.problem
    assert words.finding_words(large) == large.problem


def test_background_and_rims_count(session):
    """The seam on the background would not be judged, nor another rim be seen."""
    bench = Bench(pile(), flat_crops())
    judged = hand.judged(Laying(background=20.0), ("dusk", "snow"), bench)
    assert [seam.below for seam in judged.score.seams] == ["background", "dusk"]
    rimmed = hand.judged(Laying(rim_lightness=95.0, distance_mm=3000.0), ("dusk", "sand"), bench)
    assert rimmed.layers[1].rim == 95
    assert rimmed.score.seams[0].line_step > 10


def test_seams_are_judged_by_lamplight_as_measured_colours_go():
    """By a warm lamp the picture would change and what is said of it would not."""
    table = pile(chroma=60.0, hue_angle=30.0)
    seen = Bench(table, {}).surfaces("lamp")["sand"]
    expected = lab_through([58.0, 60 * math.cos(math.radians(30)), 30.0], lamp_matrix())
    assert seen.lightness == pytest.approx(expected[0])
    assert seen.lightness > 60  # a red comes forward
    assert seen.chroma == pytest.approx(math.hypot(expected[1], expected[2]))
    assert Bench(table, {}).surfaces("grey")["sand"].lightness == 58


def test_to_other_eyes_a_piece_of_unknown_colour_is_what_its_picture_is():
    """Without a measured hue a red would be as light to all eyes; with neither, nothing is made up."""
    red = np.full((40, 40, 3), (200, 30, 40), np.uint8)
    table = pd.DataFrame({"swatch_id": ["red", "plain"], "lightness": [43.3, 43.3]})
    bench = Bench(table, {"red": red})
    seen = bench.surfaces("protan")
    assert seen["red"].lightness == pytest.approx(33.6, abs=0.3)  # Machado's matrices, by two public libraries
    assert seen["plain"].lightness == 43.3
    linear = ((np.array([200, 30, 40]) / 255 + 0.055) / 1.055) ** 2.4
    texture = bench.textures("protan")["red"]
    assert texture.mean() == pytest.approx(as_seen_by(linear, "protan") @ [0.2126, 0.7152, 0.0722], abs=1e-3)
    assert "plain" not in bench.textures("protan")
    assert len(bench.textures("protan")) == 1
    with pytest.raises(KeyError):
        bench.textures()["plain"]


def test_vivid_colour_is_left_out_for_other_eyes():
    """How light vivid colours look is known for usual eyes only; both shifts would be added up."""
    table = pile(chroma=50.0, hue_angle=30.0, lightness_low=LEVELS, lightness_high=LEVELS)
    seen = Bench(table, {}).surfaces("deutan")["sand"]
    assert math.isnan(seen.chroma)
    assert seen.low == pytest.approx(seen.lightness)


# --- better -----------------------------------------------------------------------------------------------------------


def weak():
    table = made_table(40)
    order = table.sort_values("lightness")["swatch_id"].tolist()
    return table, made_crops(table, size=90), tuple(order[18:21])


def test_better_is_what_trying_every_piece_finds():
    """Pieces that would be enough would be passed over to save time."""
    table, crops, names = weak()
    bench, now = Bench(table, crops), Laying(stacks=(names,))
    judged = hand.judged(now, names, bench)
    mended = hand.better(now, judged, bench)
    every = judge_stack(judged.score.stack, distance_mm=500.0, pile=table, textures=bench.textures())
    assert mended.remedies == every.remedies
    assert mended.remedies


def test_better_leaves_pieces_of_other_stacks_alone():
    """A piece would be offered for two stacks at once."""
    table, crops, names = weak()
    bench = Bench(table, crops)
    judged = hand.judged(Laying(stacks=(names,)), names, bench)
    best = hand.better(Laying(stacks=(names,)), judged, bench).remedies[0].swatch_ids[0]
    other = hand.better(Laying(stacks=(names, (best, *names[:1]))), judged, bench)
    assert all(best not in remedy.swatch_ids for remedy in other.remedies)
    assert hand.better(Laying(), hand.judged(Laying(), (), bench), bench) is None


# --- words ------------------------------------------------------------------------------------------------------------


def test_a_step_says_what_takes_from_it():
    """A seam that is lost in places would be called bold without a word."""
    seam = hand.judged(Laying(), ("dusk", "snow"), Bench(pile(), {})).score.seams[0]
    assert words.step_words(seam) == "74 L* lighter, surely bold"
    assert words.step_words(replace(seam, weakest=12.0)) == "74 L* lighter, surely bold; down to 12 in places"
    assert words.step_words(replace(seam, separation=60.0)) == "74 L* lighter, surely bold; 60 of it, for its colours"
    assert words.step_words(replace(seam, sure_step=math.nan)) == "74 L* lighter, bold"
    lost = replace(seam, separation=0.0, verdict="ambiguous", ambiguous=True)
    assert words.step_words(lost) == "74 L* lighter, ambiguous"


def test_layers_have_names_by_their_place():
    """The second of five would be called the middle."""
    assert [words.layer_role(place, 1) for place in range(1)] == ["bottom"]
    assert [words.layer_role(place, 5) for place in range(5)] == ["bottom", "second", "third", "fourth", "top"]
    assert words.layer_role(6, MOST_LAYERS) == "seventh"


def test_nothing_to_judge_is_said():
    """The panel would be silent about what to do first."""
    assert words.better_told(0, None, {})["words"] == ["Lay two pieces first."]
    said = words.alt_words(1, Laying(), hand.Judged(()), session_of(pile()).breaks)
    assert said == "Stack B: nothing lies on it yet."


# --- kept -------------------------------------------------------------------------------------------------------------


def test_what_is_kept_comes_back(session):
    """After a reload the table would be empty."""
    session = hand.another(hand.laid(hand.laid(session, "dusk"), "sand"), copy=True)
    session = hand.looking(session, view="lamp", distance_mm=3000.0, surround="dark", background=20.0)
    session = hand.looking(session, rim_lightness=90.0)
    session = hand.with_rim(hand.with_sizes(session, "3, 2"), "1/8")
    again = Laying.from_plain(session.laying.to_plain(), session, Project("p"))
    assert again == session.laying


@pytest.mark.parametrize("data", [
    {}, None, [], {"stacks": 3}, {"stacks": [3, [4, None, "gone"]], "at": "x"}, {"at": 9}, {"at": -1},
    {"view": "sepia"}, {"view": 3}, {"distance_mm": "far"}, {"distance_mm": math.inf}, {"distance_mm": True},
    {"surround": None}, {"background": "white"}, {"rim_mm": -4}, {"rim_lightness": 1e9}, {"sides": "all"},
    {"sides": [3, 90]}, {"sides": [90, "x"]},
])  # fmt: skip
def test_strange_data_gives_the_usual(session, data):
    """A project of another version, or one that somebody edited, would keep the pages from opening."""
    assert Laying.from_plain(data, session, Project("p")) == Laying()


def test_pieces_that_are_gone_are_lifted_and_stacks_of_a_project_are_laid(session):
    """A lost piece would stop the page; stacks chosen on the command line would not be there."""
    kept = {"stacks": [["dusk", "gone", "dusk", "sand"], ["gone"]], "at": 1}
    assert Laying.from_plain(kept, session, Project("p")) == Laying(stacks=(("dusk", "sand"),))
    project = Project("p", stacks=(("dusk", "sand"), ("moss", "snow")))
    assert Laying.from_plain({}, session, project).stacks == project.stacks


def test_stacks_are_kept_with_the_project_and_found_again(kept):
    """The work of an evening would be gone."""
    panel, where = kept
    names = [piece.swatch_id for piece in panel.desk.session.pieces]
    build(panel, names[0], names[10], names[-1])
    panel.view.value = "grey"
    bench = panel.bench
    panel.keep.press()
    assert panel.desk.said == "The stacks are kept with evening."
    assert panel.bench is bench  # nothing was flattened anew
    again = StackPanel(open_desk(where, project="evening"))
    assert laying(again).hand == (names[0], names[10], names[-1])
    assert again.view.value == "grey"


def test_pieces_are_set_aside_and_back(kept):
    """A piece could be taken for another project, or never be released."""
    panel, where = kept
    names = [piece.swatch_id for piece in panel.desk.session.pieces]
    assert panel.set_aside.disabled
    build(panel, names[0], names[-1])
    panel.set_aside.press()
    assert panel.desk.problem == ""
    assert "2 pieces set aside for evening" in panel.desk.said
    with open_catalogue(where) as catalogue:
        assert set(catalogue.project("evening").set_aside) == {names[0], names[-1]}
    panel.undo.press()
    with open_catalogue(where) as catalogue:
        assert "evening" not in catalogue.projects() or catalogue.project("evening").set_aside == ()


def test_a_table_in_a_file_keeps_nothing(panel):
    """A button would promise what cannot be."""
    assert panel.keep.layout.display == panel.set_aside.layout.display == "none"
    panel.keep.press()
    assert "Keeping needs a catalogue" in panel.desk.problem


# --- the panel --------------------------------------------------------------------------------------------------------


def test_taps_lay_swap_lift_and_move(panel):
    """A message from the page would do something else than the hand did."""
    for message in ({"do": "lay", "name": "dusk"}, {"do": "lay", "name": "sand"}, {"do": "lay", "name": "snow"}):
        panel.table._heard(panel.table, message, [])
    assert laying(panel).hand == ("dusk", "sand", "snow")
    assert panel.desk.said == "snow laid. Weakest seam: top on middle, 34 L*: bold across a room."
    told = panel.table.stacks[0]
    assert [layer["name"] for layer in told["layers"]] == ["dusk", "sand", "snow"]
    assert [layer["weakest"] for layer in told["layers"]] == [False, False, True]
    assert panel.state.value == told["finding"] == "Weakest seam: top on middle, 34 L*: bold across a room"
    assert panel.table.lying == {"dusk": "A", "sand": "A", "snow": "A"}

    panel.table._heard(panel.table, {"do": "swap", "layer": 1, "name": "moss"}, [])
    assert laying(panel).hand == ("dusk", "moss", "snow")
    panel.table._heard(panel.table, {"do": "up", "layer": 0}, [])
    assert laying(panel).hand == ("moss", "dusk", "snow")
    panel.table._heard(panel.table, {"do": "down", "layer": 1}, [])
    assert laying(panel).hand == ("dusk", "moss", "snow")
    panel.table._heard(panel.table, {"do": "lift", "layer": 2}, [])
    assert laying(panel).hand == ("dusk", "moss")
    panel.table._heard(panel.table, {"do": "choose", "layer": 1}, [])
    assert panel.table.layer == 1
    panel.table._heard(panel.table, {"do": "lay", "name": "rain"}, [])
    assert laying(panel).hand == ("dusk", "rain")
    assert panel.desk.said.startswith("rain in the place of moss.")
    panel.choose(0)
    panel.choose(0)
    assert laying(panel).layer == NONE
    panel.lay("rain")
    assert panel.desk.said == "rain lifted out. dusk lies at the bottom. Tap the piece to lay on it."


@pytest.mark.parametrize("message", [
    None, "lay", {}, {"do": "burn"}, {"do": ["lay"]}, {"do": "lay"}, {"do": "lay", "name": "<b>x</b>"},
    {"do": "lift", "layer": "0"}, {"do": "lift", "layer": True}, {"do": "up", "layer": 77}, {"do": "stack", "stack": 9},
    {"do": "stack", "stack": 1.5}, {"do": "swap", "layer": 0, "name": 7}, {"do": "choose", "layer": 50},
])  # fmt: skip
def test_a_strange_message_changes_nothing(panel, message):
    """A page can send anything."""
    build(panel, "dusk", "sand")
    before = panel.desk.session
    panel.table._heard(panel.table, message, [])
    assert panel.desk.session.laying == before.laying


def test_the_picture_is_the_stack(panel):
    """It would show other pieces, or the same ones whatever is laid."""
    build(panel, "dusk", "snow")
    pixels = picture(panel).astype(int)
    assert pixels.shape == (400, 400, 3)
    bottom, top = pixels[200, 40], pixels[200, 200]
    crops = flat_crops()
    assert abs(bottom - int(crops["dusk"][0, 0, 0])).max() <= 1
    assert abs(top - int(crops["snow"][0, 0, 0])).max() <= 1
    assert pixels[2, 2].tolist() == [119] * 3  # L* 50
    alt = panel.table.stacks[0]["alt"]
    assert alt.startswith("Stack A in colour, from 0.5 m: bottom dusk, L* 18; top snow, L* 92.")


def test_the_view_is_chosen(panel):
    """Grey would stay coloured, or the words tell of another view."""
    red = np.full((80, 80, 3), (200, 30, 40), np.uint8)
    panel = StackPanel(Desk(session_of(pile(), {**flat_crops(), "moss": red})))
    build(panel, "snow", "moss")
    seen = {}
    for view in hand.VIEWS:
        panel.view.value = view
        seen[view] = picture(panel)[200, 200].astype(int)
        assert laying(panel).view == view
    assert seen["colour"].tolist() == [200, 30, 40]
    assert np.ptp(seen["grey"]) == np.ptp(seen["values"]) == 0
    assert seen["protan"][0] < 120  # taken for dark
    assert len({tuple(pixel) for pixel in seen.values()}) == len(hand.VIEWS)
    assert panel.desk.said == "Seen to eyes that mix up blue and green."
    assert panel.told.value.startswith("Judged to eyes that mix up blue and green, by what shows")


def test_the_distance_blurs_and_shrinks(panel):
    """From across a room a narrow rim would stay as sharp as in the hand."""
    build(panel, "dusk", "snow")
    near, before = picture(panel).astype(int), len(panel.desk._done)
    panel.distance.settled = False
    panel.distance.value = 4.0
    panel.distance.value = 5.0
    assert len(panel.desk._done) == before  # the hand has not let go
    assert laying(panel).distance_mm == 5000
    panel.distance.settled = True
    assert panel.desk.said == "As seen from 5 m."
    far = picture(panel).astype(int)

    def steepest(pixels):
        return np.abs(np.diff(pixels[200, :, 0])).max()

    assert steepest(far) < steepest(near) / 4
    side, small = panel.table.sizes
    size = 1.12 * default_sides(2)[0]
    assert small == round(size * 0.6 / 5 / 25.4 * 96)  # seen from 60 cm, at 96 pixels an inch
    assert Image.open(io.BytesIO(panel.table.pictures[1])).size == (2 * small, 2 * small)
    assert "as large as from 5 m" in panel.table.small_words
    panel.distance.value = 0.5
    assert panel.table.sizes == [side, 0]
    assert panel.table.pictures[1] == b""


def test_surround_background_rims_and_sizes(panel):
    """A control in the fold would do nothing."""
    build(panel, "dusk", "snow")
    panel.surround.value = "dark"
    assert picture(panel)[2, 2].tolist() == [38] * 3  # L* 15
    panel.on_background.value = True
    assert laying(panel).background == 15
    assert panel.surround.layout.display == "none"
    panel.background.value = 80
    assert laying(panel).background == 80
    assert panel.table.stacks[0]["stairs"]["treads"][0]["role"] == "background"
    assert panel.state.value.startswith("Weakest seam: bottom on background, 62 L*")
    panel.on_background.value = False
    assert laying(panel).background is None
    panel.sizes.value = "4, 2"
    assert panel.table.stacks[0]["sizes"] == "4, 2 in"
    panel.rim.value = "1/4"
    assert laying(panel).rim_mm == pytest.approx(6.35)
    panel.own_rims.value = True
    assert laying(panel).rim_lightness == 90
    panel.rims.value = 70
    assert laying(panel).rim_lightness == 70
    assert panel.table.stacks[0]["stairs"]["seams"][0]["rim"] == 70
    panel.own_rims.value = False
    assert laying(panel).rim_lightness is None
    panel.sizes.value = ""
    assert panel.desk.said == "Cut to the usual sizes."
    panel.sizes.value = "2, 3"
    assert "smaller than the one below" in panel.desk.problem
    assert laying(panel).sides == ()


def test_better_is_offered_and_put_in():
    """What would be better would be said and could not be done."""
    table, crops, names = weak()
    panel = StackPanel(Desk(session_of(table, crops)))
    assert panel.mend.disabled
    build(panel, *names)
    panel.mend.press()
    told = panel.table.better
    assert told["head"] == "Better in stack A"
    assert told["head"] in panel.desk.said
    remedy = told["remedies"][0]
    assert len(remedy["pieces"]) <= words.MOST_OFFERED
    before = panel.table.stacks[0]["points"]
    panel.swap(remedy["layer"], remedy["pieces"][0]["name"])
    assert remedy["pieces"][0]["name"] in laying(panel).hand
    assert float(panel.table.stacks[0]["points"].split()[0]) > float(before.split()[0])
    assert panel.table.better != told  # asked anew of what lies there now
    panel.mend.press()
    assert panel.table.better == {}


def test_what_is_better_is_not_asked_again_for_another_distance(panel, monkeypatch):
    """Every step of the slider would try the whole pile."""
    build(panel, "sand", "rain")
    panel.mend.press()
    monkeypatch.setattr(hand, "better", lambda *_: pytest.fail("asked again"))
    panel.distance.value = 3.0
    assert panel.table.better["head"] == "Better in stack A"


def test_up_to_four_side_by_side(panel):
    """A fifth would be drawn on top of the others, or the first be lost."""
    build(panel, "dusk", "snow")
    panel.copy.press()
    panel.beside.press()
    panel.copy.press()
    assert len(panel.table.stacks) == 4
    assert len(panel.table.pictures) == 8
    assert panel.copy.disabled and panel.beside.disabled
    panel.take_up(1)
    assert panel.table.at == 1
    assert panel.state.value.startswith("B. Weakest seam")
    panel.lay("moss")
    assert panel.table.lying == {"dusk": "AB", "snow": "AB", "moss": "B"}
    assert picture(panel, 1).shape[0] < 400  # they share the width
    for _ in range(5):
        panel.away.press()
    assert laying(panel).stacks == ((),)
    assert panel.away.disabled


def test_every_step_is_undone(panel):
    """A slip of the hand would cost the stack."""
    build(panel, "dusk", "sand", "snow")
    panel.view.value = "grey"
    panel.undo.press()
    assert (laying(panel).view, panel.view.value) == ("colour", "colour")
    panel.undo.press()
    assert [layer["name"] for layer in panel.table.stacks[0]["layers"]] == ["dusk", "sand"]
    panel.redo.press()
    assert laying(panel).hand == ("dusk", "sand", "snow")


def test_picks_of_other_panels_are_marked_and_laid(panel):
    """What was picked in the palette would have to be found again."""
    assert panel.lay_picked.layout.display == "none"
    panel.desk.change(panel.desk.session.picking("snow").picking("dusk"), "picked")
    assert panel.table.picked == ["snow", "dusk"]
    assert not panel.lay_picked.layout.display
    panel.lay_picked.press()
    assert laying(panel).hand == ("snow", "dusk")


def test_another_pile_and_other_edges_are_laid_out_anew(panel):
    """New pieces would not be there to tap, or stand in the wrong group."""
    build(panel, "dusk", "snow")
    table = pd.concat([pile(), pd.DataFrame({"swatch_id": ["fog"], "lightness": [50.0]})], ignore_index=True)
    panel.desk.change(panel.desk.session.with_pile(table.drop(index=0), flat_crops()), "another pile")
    assert [piece["name"] for piece in panel.table.tray] == ["clay", "moss", "fog", "sand", "rain", "snow"]
    assert panel.table.tray[2]["at"] == []  # it has no picture
    assert [layer["name"] for layer in panel.table.stacks[0]["layers"]] == ["snow"]
    sorting = panel.desk.session.sorting
    other = replace(sorting, grouping=replace(sorting.grouping, method="equal"))
    panel.desk.change(replace(panel.desk.session, sorting=other), "other edges")
    assert [piece["group"] for piece in panel.table.tray].count("dark") == 2


def test_a_pile_without_anything_can_be_opened():
    """The page would not open before the first photograph."""
    empty = StackPanel(Desk(session_of(pile().iloc[:0])))
    assert empty.table.tray == []
    assert empty.state.value == "Tap a piece: it becomes the bottom layer."
    table = pile(lightness=[math.nan, *LEVELS[1:]])
    assert [piece["name"] for piece in StackPanel(Desk(session_of(table))).table.tray] == NAMES[1:]


def test_hostile_names_are_kept_as_text():
    """A name would be read as a part of the page."""
    name = "<img src=x onerror=alert(1)>"
    panel = StackPanel(Desk(session_of(pd.DataFrame({"swatch_id": [name, "b"], "lightness": [20.0, 80.0]}))))
    build(panel, name, "b")
    assert panel.table.stacks[0]["layers"][0]["name"] == name
    assert "innerHTML" not in panel.table._esm
    assert "insertAdjacentHTML" not in panel.table._esm
