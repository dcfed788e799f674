"""The Photograph panel without a page: every control's effect on the session, what is refused, what is kept."""

from __future__ import annotations

import asyncio
import threading
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_scenes import box, drawn
from PIL import Image

from contrastkit.errors import CalibrationError, InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.panels import photographs
from contrastkit.panels.desk import open_desk
from contrastkit.panels.photograph_panel import PhotographPanel
from contrastkit.panels.photographs import ANOTHER, Photographs
from contrastkit.panels.session import empty_session
from contrastkit.panels.uploads import PART_BYTES

SIZE = (800, 1000)
CARD = (box((130, 860), 110, 140, 15), (0.18,) * 3)
SECOND_CARD = (box((700, 880), 110, 140), (0.36,) * 3)
PIECES = (
    (box((250, 250), 180, degrees=12), (0.3, 0.1, 0.08)), (box((300, 560), 150, 220, 40), (0.08, 0.12, 0.3)),
    (box((590, 330), 200), (0.12, 0.25, 0.1)), (box((600, 650), 160, degrees=70), (0.5, 0.35, 0.1)),
)  # fmt: skip
SCALE = "95.5, 81, 66, 50.5, 35.5, 20.5"
HOSTILE = "<img src=x onerror=alert(1)>.png"


def board(path, *things, **options):
    codes = drawn([(outline, np.array(colour)) for outline, colour in things], size=SIZE, **options)
    Image.fromarray(codes).save(path)
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Boards: one good, one of two pieces, one of two greys, one without a grey, and two bad files."""
    place = tmp_path_factory.mktemp("boards")
    board(place / "good.png", CARD, *PIECES)
    board(place / "pair.png", CARD, *PIECES[:2])
    (place / "others").mkdir()
    board(place / "others" / "greys.png", CARD, SECOND_CARD, *PIECES)
    board(place / "others" / "bare.png", *PIECES)
    (place / "bad").mkdir()
    (place / "bad" / "broken.jpg").write_bytes((place / "good.png").read_bytes()[:3000])
    (place / "bad" / "text.jpg").write_text("no picture")
    return place


@pytest.fixture
def panel(folder):
    """A panel without a catalogue, with the good board on it."""
    panel = open_desk(pd.DataFrame({"swatch_id": ["old"], "lightness": [33.0]})).photograph()
    panel.add(folder / "good.png")
    return panel


@pytest.fixture
def kept(tmp_path, folder):
    """A panel on an empty catalogue, with the good board on it."""
    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    panel.add(folder / "good.png")
    yield panel
    desk.close()


def now(panel) -> Photographs:
    return panel.photographs


def names(panel):
    return [piece.name for piece in now(panel).shot.pieces]


def rows(panel):
    return now(panel).shot.result.table.set_index("swatch_id")


def hand(panel, **message):
    """What the page says when a hand does something on the photograph."""
    panel.board._heard(None, message, [])


def send(panel, data, name, size=None, sent=None):
    """Drop a file as a page does: what the kernel answered."""
    answers = []
    panel.drop.send = answers.append
    panel.drop._heard(None, {"offer": "f1", "name": name, "size": len(data) if size is None else size}, [])
    while answers and "send" in answers[-1]:
        start, length = answers[-1]["from"], answers[-1]["length"]
        if sent is not None and start >= sent:
            break
        panel.drop._heard(None, {"part": "f1"}, [memoryview(data)[start : start + length]])
    return answers


def shown(widget):
    return widget.layout.display != "none"


# --- photographs come in ----------------------------------------------------------------------------------------------


def test_an_empty_panel_asks_for_photographs():
    """Someone new would not know where to begin."""
    panel = PhotographPanel(open_desk(pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]})))
    assert panel.state.value == "Drop photographs of your pieces here, or choose them."
    assert panel.drop.main and not shown(panel.work) and not shown(panel.keeping)
    hand(panel, chose="x")
    assert panel.desk.problem == "There must be a photograph on the desk; there is none. Drop one, or choose one."
    panel.draw.press()
    assert panel.board.task == "look"


def test_a_photograph_is_measured_and_said_in_a_sentence(panel):
    """Nobody would see what was found, or by what it was measured."""
    assert panel.state.value == "4 pieces found, card read at L* 49.5 ± 0.3."
    assert panel.desk.said == "good.png: 4 pieces found, card read at L* 49.5 ± 0.3."
    assert panel.keep.label == "Keep these 4 pieces" and panel.keep.main and not panel.drop.main
    assert names(panel) == ["good-01", "good-02", "good-03", "good-04"]
    assert panel.board.size == list(SIZE) and panel.board.photo[:2] == b"\xff\xd8"
    assert panel.board.alt == "good.png, a photograph of a board with 4 pieces"
    assert [each["short"] for each in panel.board.pieces] == ["01", "02", "03", "04"]
    assert panel.board.pieces[0]["words"] == "good-01, L* 44 ± 1, medium"
    assert len(panel.board.reference) == 4
    assert panel.title.value == "Point at a piece to see what is known of it."
    panel.undo.press()
    assert now(panel).shots == () and not shown(panel.work)


def test_bad_files_are_named_in_a_sentence_each_and_the_others_go_on(panel, folder):
    """One bad file of twenty would stop all."""
    panel.add([folder / "bad", folder / "pair.png", folder / "nowhere.png"])
    assert [name for name, _ in now(panel).failed] == ["broken.jpg", "text.jpg", "nowhere.png"]
    told = [words.value for words in panel.failed.children]
    assert told[1].startswith("text.jpg: A photo must be JPEG, PNG, TIFF, WebP, HEIC or camera RAW; 'text.jpg' is text")
    assert shown(panel.failures)
    assert panel.state.value == "2 photographs, 6 pieces found."
    assert panel.sentence.value == "4 pieces found, card read at L* 49.5 ± 0.3." and shown(panel.which)
    panel.forget.press()
    assert now(panel).failed == () and not shown(panel.failures)


def test_a_folder_is_named_by_hand(panel, folder, tmp_path):
    """Photographs on the computer itself would have to go through the browser."""
    panel.place.value = f' "{folder / "others"}" '
    assert [shot.name for shot in now(panel).shots] == ["good.png", "bare.png", "greys.png"]
    panel.place.value = str(tmp_path)
    assert panel.desk.problem.startswith("There must be a photograph to measure; none is in")
    panel.place.value = ""
    assert len(now(panel).shots) == 3


def test_a_photograph_lies_on_the_desk_once_whatever_its_name(panel, folder, tmp_path):
    """Its pieces would be counted twice."""
    (tmp_path / "again.png").write_bytes((folder / "good.png").read_bytes())
    panel.add(tmp_path / "again.png")
    assert now(panel).failed == (
        ("again.png", "A photograph lies on the desk once; 'again.png' is 'good.png'. Leave it out."),
    )
    assert len(now(panel).shots) == 1


def test_two_photographs_of_one_name_have_pieces_of_other_names(panel, folder, tmp_path):
    """Two pieces would have one name."""
    (tmp_path / "good.png").write_bytes((folder / "pair.png").read_bytes())
    panel.add(tmp_path / "good.png")
    second = now(panel).shots[1]
    assert second.name == "good (2).png"
    assert [piece.name for piece in second.pieces] == ["good(2)-01", "good(2)-02"]
    assert second.result.table["swatch_id"].tolist() == ["good(2)-01", "good(2)-02"]
    assert set(second.result.table["photo"]) == {"good (2).png"}


def test_names_that_the_pile_has_are_not_given_again(folder):
    """A new piece would take the place of an old one."""
    panel = open_desk(pd.DataFrame({"swatch_id": ["good-03"], "lightness": [33.0]})).photograph()
    panel.add(folder / "good.png")
    assert names(panel)[0] == "good(2)-01"


def test_a_photograph_comes_from_a_page_part_by_part(panel, folder):
    """A photograph from a telephone could not be dropped."""
    data = (folder / "pair.png").read_bytes()
    answers = send(panel, data, "../x/" + HOSTILE)
    assert all(each["length"] <= PART_BYTES for each in answers if "send" in each)
    assert answers[-1] == {"done": "f1"}
    shot = now(panel).shots[1]
    assert (shot.name, shot.dropped) == (HOSTILE, True)
    assert shot.file.read_bytes() == data
    assert shot.pieces[0].name == "<img src=x onerror=alert(1)>-01"
    panel.which.value = 1
    assert panel.board.alt == f"{HOSTILE}, a photograph of a board with 2 pieces"


def test_what_is_no_photograph_is_refused_in_words_before_it_is_here(panel, folder):
    """A film would be sent whole before anyone says no."""
    answers = send(panel, b"%PDF-1.4" + bytes([1, 200]) * 900_000, "a.jpg", size=150_000_000)
    assert [list(each) for each in answers] == [["send", "from", "length"], ["done"]]
    assert send(panel, b"", "film.mov", size=300_000_000) == [{"done": "f1"}]
    assert send(panel, b"", "x.jpg", size="many") == [{"done": "f1"}]
    reasons = [reason for _, reason in now(panel).failed]
    assert "'a.jpg' is a PDF document" in reasons[0]
    assert reasons[1].startswith("A photo must be at most 200 MB to be dropped here; 'film.mov' has 300 MB.")
    assert reasons[2].startswith("A photo must hold data; 'x.jpg' is empty.")


def test_a_damaged_photograph_from_a_page_is_named_as_she_knows_it(panel, folder):
    """The sentence would name a file that she has never seen."""
    send(panel, (folder / "good.png").read_bytes()[:5000], "holiday.png")
    assert now(panel).failed[0][0] == "holiday.png"
    assert "'holiday.png'" in now(panel).failed[0][1] and "photo.png" not in now(panel).failed[0][1]


def test_sending_can_be_stopped(panel, folder):
    """Half a file would be left, or be measured."""
    data = np.random.default_rng(0).bytes(3_000_000)
    send(panel, b"\x89PNG\r\n\x1a\n" + data, "a.png", sent=1_000_000)
    coming = panel.drop._coming[1]
    assert 0 < coming.file.stat().st_size < len(data)
    panel.drop._heard(None, {"cancel": "f1"}, [])
    assert panel.drop._coming is None and not coming.file.exists()
    panel.drop._heard(None, {"part": "f1"}, [b"late"])
    panel.drop._heard(None, {"lost": "f1", "name": "a/holiday"}, [])
    panel.drop._heard(None, "nonsense", [])
    assert now(panel).failed == (
        ("holiday", "'holiday' cannot be read by the browser: is it a folder? Drop it again."),
    )


def test_measuring_leaves_the_kernel_free_and_ends_in_its_own_thread(folder):
    """The page would stand still while twenty photographs are measured, or widgets be touched from two threads."""
    panel = open_desk(pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]})).photograph()
    seen, turns = [], 0
    panel.desk.watch(lambda new, old: seen.append(threading.current_thread()))

    async def page():
        nonlocal turns
        panel.add([folder / "good.png", folder / "pair.png"])
        assert panel.busy.value == "Measuring 1 of 2: good.png"
        assert len(now(panel).shots) == 0
        panel.keep.press()
        assert panel.desk.problem == "All photographs must be measured first; some still are. Wait a moment."
        while panel.busy.value:
            turns += 1
            await asyncio.sleep(0.005)

    asyncio.run(page())
    assert [shot.name for shot in now(panel).shots] == ["good.png", "pair.png"]
    assert set(seen) == {threading.main_thread()}
    assert turns > 5


def test_what_nobody_foresaw_at_one_photograph_leaves_the_others_and_the_panel_working(folder, monkeypatch):
    """The panel would say "Measuring 1 of 2" for ever, and nothing could be kept."""
    real = photographs.look_at

    def fails(file, **options):
        if file.name == "good.png":
            raise MemoryError
        return real(file, **options)

    monkeypatch.setattr(photographs, "look_at", fails)
    panel = open_desk(pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]})).photograph()

    async def page():
        panel.add([folder / "good.png", folder / "pair.png"])
        while panel.busy.value:
            await asyncio.sleep(0.005)

    asyncio.run(page())
    reason = ("All must go well for 'good.png' to be measured; it did not, the computer says: MemoryError. "
              "Try again with fewer.")  # fmt: skip
    assert now(panel).failed == (("good.png", reason),)
    assert [shot.name for shot in now(panel).shots] == ["pair.png"]
    panel.keep.press()
    assert panel.desk.said == "2 pieces in the pile, for as long as this page is open."


def test_a_folder_of_hundreds_is_gone_through_where_no_page_is_open(folder, monkeypatch):
    """One photograph would be measured inside the other, until there is no room for a further one."""
    panel = open_desk(pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]})).photograph()

    def refused(file, **options):
        raise InvalidInputError("It must be a photograph; it is none. Leave it out.")

    monkeypatch.setattr(photographs, "look_at", refused)
    panel.add([folder / f"{number}.png" for number in range(300)])
    assert len(now(panel).failed) == 300 and panel.busy.value == ""
    assert len(panel.failed.children) == 300 and panel.failed.children[299].value.startswith("299.png: It must be")
    panel.forget.press()
    assert panel.failed.children == () and not shown(panel.failures)


# --- outlines ---------------------------------------------------------------------------------------------------------


def test_a_piece_that_is_pointed_at_shows_what_is_known_of_it(panel):
    """Nobody could look at one piece."""
    hand(panel, chose="good-03")
    assert panel.title.value == panel.name.value == "good-03" == panel.board.chosen
    assert panel.reading.value == "L* 53 ± 1, medium; Munsell value 5.2."
    assert panel.crop.alt == "good-03, cut out" and panel.crop.data[1:4] == b"PNG"
    assert shown(panel.details) and shown(panel.discard) and not shown(panel.back) and not shown(panel.undraw)
    hand(panel, chose="")
    assert not shown(panel.details)
    assert panel.desk.to_undo.startswith("good.png")  # looking is no step
    hand(panel, chose="good-03")
    hand(panel, moved="good-03", corners=[[0, 0], [200, 200], [0, 200], [200, 0]])
    assert panel.board.chosen == "good-03" and panel.desk.problem  # what is refused leaves the eye where it was
    hand(panel, discarded="good-03")
    panel.undo.press()
    assert panel.board.chosen == "good-03" and shown(panel.discard)


def test_a_corner_that_is_dragged_changes_the_lightness_and_can_be_taken_back(panel):
    """Correcting an outline would change nothing, or not be taken back."""
    before, outline = rows(panel).loc["good-01"], [list(corner) for corner in now(panel).shot.pieces[0].outline]
    outline[0] = [round(each - 60, 1) for each in outline[0]]  # onto the white board
    hand(panel, moved="good-01", corners=outline)
    after = rows(panel).loc["good-01"]
    assert after["lightness"] > before["lightness"] + 3
    assert panel.desk.said == f"Outlined anew: good-01, L* {after['lightness']:.0f} ± 1, medium."
    assert panel.board.pieces[0]["corners"] == outline and panel.board.chosen == "good-01"
    others = now(panel).shot.automatic.table.set_index("swatch_id")
    assert rows(panel).drop(index="good-01").equals(others.drop(index="good-01"))
    assert shown(panel.undraw)
    panel.undraw.press()
    assert rows(panel).loc["good-01"].equals(before)
    panel.undo.press()
    panel.undo.press()
    assert rows(panel).loc["good-01"].equals(before) and not shown(panel.undraw)


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ({"moved": "good-01", "corners": [[0, 0], [200, 200], [0, 200], [200, 0]]}, "must not cross itself; that of "),
        ({"moved": "good-01", "corners": [[0, 0], [0, 3], [3, 3]]}, "must be at least 8 pixels across"),
        ({"moved": "good-01", "corners": [[0, 0], [0, 3000], [300, 3]]}, "must lie inside the photograph"),
        ({"moved": "good-01", "corners": "nonsense"}, "must have from 3 to 200 corners"),
        ({"moved": "other", "corners": []}, "A piece must be on the photograph; 'other' is not. Point at one that is."),
        ({"drawn": None}, "must have from 3 to 200 corners"),
        ({"discarded": "other"}, "A piece must be on the photograph"),
        ({"pointed": "x"}, "A place on the photograph must be a row and a column. Point again."),
        ({"pointed": [250, 250]}, "What is pointed at must be one even grey"),
    ],
)
def test_what_a_hand_cannot_do_is_said_and_the_page_shows_what_holds(panel, message, words):
    """A slip would leave the page with another outline than the session."""
    before, turn = panel.desk.session, panel.board.turn
    hand(panel, **message)
    assert words in panel.desk.problem
    assert panel.desk.session is before
    assert panel.board.turn == turn + 1
    panel.board._heard(None, "nonsense", [])
    panel.board._heard(None, {"nonsense": 1}, [])


def test_a_missed_piece_is_drawn(panel):
    """A piece that was not found could not be measured."""
    panel.draw.press()
    assert panel.board.task == "draw"
    hand(panel, task="look")
    assert panel.board.task == "look"
    panel.draw.press()
    hand(panel, drawn=[[400, 60], [400, 180], [500, 180], [500, 60]])
    assert names(panel)[-1] == "good-05" == panel.board.chosen and panel.board.task == "look"
    row = rows(panel).loc["good-05"]
    assert row["area"] == pytest.approx(12_000) and row["lightness"] == pytest.approx(91.6, abs=0.5)  # the board
    assert panel.desk.said.startswith("Drawn: good-05, L* 92")
    assert panel.keep.label == "Keep these 5 pieces" and not shown(panel.undraw)
    with pytest.raises(InvalidInputError, match="Only what was found can go back to how it was; 'good-05' was drawn"):
        photographs.as_found(now(panel), "good-05")


def test_what_is_no_piece_is_discarded_and_brought_back(panel):
    """A label or a crumb would stay in the pile."""
    before = rows(panel)
    hand(panel, discarded="good-02")
    assert list(rows(panel).index) == ["good-01", "good-03", "good-04"] and len(names(panel)) == 4
    assert panel.state.value.startswith("3 pieces found") and panel.keep.label == "Keep these 3 pieces"
    assert panel.board.pieces[1]["short"] == "02 discarded" and panel.board.pieces[1]["discarded"]
    assert panel.kept.value == "Discarded: it is no piece." and not shown(panel.discard) and shown(panel.back)
    assert panel.crop.data == b"" and not shown(panel.fields)
    panel.back.press()
    assert rows(panel).loc["good-02"].equals(before.loc["good-02"])
    panel.discard.press()
    assert len(rows(panel)) == 3


def test_all_may_be_discarded_and_brought_back(panel):
    """A photograph of the wrong board would stop the page."""
    for name in names(panel):
        hand(panel, discarded=name)
    assert panel.state.value == "No piece found, card read at L* 49.5 ± 0.3." and panel.keep.disabled
    panel.back.press()
    assert panel.state.value.startswith("1 piece found") and panel.keep.label == "Keep this 1 piece"


def test_another_photograph_is_looked_at_and_put_away(panel, folder):
    """Only the first photograph could be corrected."""
    panel.add(folder / "pair.png")
    hand(panel, chose="good-01")
    panel.which.value = 1
    assert (now(panel).shot.name, panel.board.chosen) == ("pair.png", "")
    assert [each["name"] for each in panel.board.pieces] == ["pair-01", "pair-02"]
    panel.away.press()
    assert [shot.name for shot in now(panel).shots] == ["good.png"] and panel.desk.said == "Put pair.png away."
    panel.away.press()
    assert now(panel).shots == () and panel.drop.main
    panel.undo.press()
    assert now(panel).shot.name == "good.png"
    with pytest.raises(InvalidInputError, match="There must be a photograph of that number; got 9 of 1 photograph"):
        photographs.looking_at(now(panel), 8)


def test_flags_are_said_in_words_with_what_to_do(folder, tmp_path):
    """Someone would see that something is wrong, and not what to do."""
    panel = open_desk(pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]})).photograph()
    panel.add([board(tmp_path / "edge.png", CARD, (box((400, 60), 200, 150), (0.1, 0.2, 0.3)), *PIECES[3:]),
               folder / "good.png"])  # fmt: skip
    hand(panel, moved="edge-01", corners=[[300, 0], [300, 135], [500, 135], [500, 0]])
    assert panel.flags[0].value == (
        "Touches the frame: part of the piece is outside the photograph. "
        "Leave a margin of board all round and photograph again."
    )
    assert panel.board.pieces[0]["short"] == "01 check"
    assert panel.board.pieces[0]["words"].endswith("; check: touches the frame")
    assert panel.state.value.endswith("1 to check.") and panel.next.label == "Next of 1 to look at"
    panel.which.value = 1
    panel.next.press()
    assert (now(panel).shot.name, panel.board.chosen) == ("edge.png", "edge-01")
    panel.next.press()
    assert panel.board.chosen == "edge-01"
    panel.desk.change(replace(panel.desk.session, photographs=Photographs()), "Nothing.")
    panel.next.press()
    assert panel.desk.problem == "There must be a piece to check; there is none. Keep the pieces."


# --- the reference ----------------------------------------------------------------------------------------------------


def test_a_hand_points_at_the_grey_card(folder):
    """With two greys on the board the wrong one would count."""
    panel = open_desk(pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]})).photograph()
    panel.add(folder / "others" / "bare.png")
    assert panel.state.value == "4 pieces found, 4 to check, nothing grey to measure against, so all is rough (± 8)."
    hand(panel, chose="bare-01")
    assert panel.flags[0].value.endswith(
        "Lay a grey card beside the pieces, or point at it under “What it is measured against”."
    )
    panel.add(folder / "others" / "greys.png")
    panel.which.value = 1
    hand(panel, chose=names(panel)[-1])
    described = photographs.described(now(panel), names(panel)[0], note="mine")
    panel.desk.change(replace(panel.desk.session, photographs=described), "Note.")
    panel.point.press()
    assert panel.board.task == "point"
    before = rows(panel)["lightness"].max()
    hand(panel, pointed=[700, 880])
    assert panel.board.task == "look" and (now(panel).shot.reference, now(panel).shot.at) == ("card", (700.0, 880.0))
    assert np.mean(panel.board.reference, axis=0) == pytest.approx([700, 880], abs=2)
    # twice as light a grey is taken for 18 %: everything reads half the light, and the first card is a piece
    assert rows(panel)["lightness"].max() < before - 10 and len(rows(panel)) == 5
    assert panel.kind.value == "card" and panel.desk.said.startswith("Measured again: 5 pieces found, card read at")
    assert now(panel).shot.pieces[0].note == "mine"
    panel.undo.press()
    assert now(panel).shot.reference == "auto"


def test_what_a_hand_has_done_stays_when_it_is_measured_against_another_grey(panel):
    """All corrections would be lost by choosing the reference after them."""
    hand(panel, discarded="good-04")
    outline = [[corner[0] + 5, corner[1]] for corner in now(panel).shot.pieces[0].outline]
    hand(panel, moved="good-01", corners=outline)
    hand(panel, drawn=[[400, 60], [400, 180], [500, 180], [500, 60]])
    hand(panel, drawn=[[90, 820], [90, 900], [170, 900], [170, 820]])  # on the card
    hand(panel, chose="good-02")
    panel.name.value = "blue"
    panel.kind.value = "none"
    assert names(panel) == ["good-01", "blue", "good-03", "good-04", "good-05", "good-06", "good-07"]  # 7: the card
    assert list(rows(panel).index) == ["good-01", "blue", "good-03", "good-05", "good-06", "good-07"]
    assert set(rows(panel)["reference"]) == {"none"} and panel.board.chosen == "blue"
    assert panel.board.pieces[0]["corners"] == [[pytest.approx(each) for each in corner] for corner in outline]
    panel.kind.value = "card"
    assert names(panel) == ["good-01", "blue", "good-03", "good-04", "good-05"]
    assert set(rows(panel)["reference"]) == {"card"}


def test_the_lightness_of_a_card_and_of_a_scale_is_said(panel):
    """A card of another grey than 18 % would shift everything."""
    before = rows(panel)["lightness"]
    panel.kind.value = "card"
    assert shown(panel.lightness) and panel.lightness.hint == "read it off the card; 49.5 if not said"
    panel.lightness.value = "55"
    assert (rows(panel)["lightness"] > before + 1).all()
    assert panel.grey_words.value == "Card read at L* 55.0 ± 0.3."
    panel.lightness.value = "many"
    assert panel.desk.problem.startswith("Lightness values must be numbers separated by commas; got 'many'.")
    assert panel.lightness.problem == panel.desk.problem  # beside its field too
    assert panel.kind.value == "card"
    panel.kind.value = "scale"  # its steps are not known yet: nothing happens
    assert now(panel).shot.reference == "card" and shown(panel.lightness) and panel.lightness.value == ""
    panel.lightness.value = SCALE
    assert panel.lightness.problem.startswith("A grey scale of 6 touching steps must lie whole in the photograph;")
    panel.kind.value = "chart"
    assert panel.desk.problem.startswith("A 24-patch chart must lie whole in the photograph; none was found")
    assert panel.kind.value == "card" and panel.lightness.problem == ""


def test_the_steps_of_a_scale_are_remembered(tmp_path):
    """They would have to be typed for every photograph."""
    from test_by_hand import PHOTOS

    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    send(panel, (PHOTOS / "evening-scale.jpg").read_bytes(), "evening.jpg")
    panel.kind.value = "scale"
    panel.lightness.value = SCALE
    assert panel.state.value == "16 pieces found, 2 to check, 6 greys read from L* 96 to 20, ± 0.3."
    assert now(panel).scale == SCALE
    panel.kind.value = "auto"
    panel.kind.value = "scale"
    assert now(panel).shot.lightness == SCALE and panel.lightness.value == SCALE
    plain = now(panel).to_plain()
    assert Photographs.from_plain(plain, empty_session(), None).scale == SCALE
    for strange in ({}, {"scale": 3}, [], None):
        assert Photographs.from_plain(strange, empty_session(), None).scale == ""
    desk.close()


def test_measuring_against_another_grey_leaves_the_kernel_free(panel):
    """The page would stand still, or what a hand did meanwhile would be lost."""
    async def page(*, meddle):
        panel.kind.value = "none" if panel.kind.value == "card" else "card"
        assert panel.busy.value == "Measuring this photograph again"
        hand(panel, pointed=[130, 860])
        assert panel.desk.problem == "All photographs must be measured first; some still are. Wait a moment."
        if meddle:
            hand(panel, discarded="good-04")
        while panel.busy.value:
            await asyncio.sleep(0.005)

    asyncio.run(page(meddle=False))
    assert set(rows(panel)["reference"]) == {"card"} and now(panel).shot.reference == "card"
    asyncio.run(page(meddle=True))
    assert panel.desk.problem == "The pieces have changed meanwhile. Choose again."
    assert set(rows(panel)["reference"]) == {"card"} and len(rows(panel)) == 3


def test_a_reference_that_cannot_be_is_refused():
    """A typing slip would be taken for another grey."""
    with pytest.raises(InvalidInputError, match="A scale needs the lightness of three or more steps"):
        photographs.reference_choice("scale", "95 20")
    with pytest.raises(InvalidInputError, match="A reference must be one of|A reference must be auto"):
        photographs.reference_choice("moon", "")
    assert photographs.reference_choice("chart", "50").lightness == ()


# --- what is said of pieces -------------------------------------------------------------------------------------------


def test_a_piece_is_named_and_described(panel):
    """What she knows of a piece could not be written down."""
    hand(panel, chose="good-01")
    panel.name.value = " rust <b>leaf</b> "
    assert names(panel)[0] == "rust <b>leaf</b>" == panel.title.value == panel.board.chosen
    panel.note.value = "first print\nof the day"
    said = {"ground": "red cotton", "paints": "rust", "plate": "leaf", "sheet": "A", "side": "3 in"}
    for field, text in said.items():
        panel.lines[field].value = text
    piece = now(panel).piece
    assert (piece.note, piece.ground, piece.paints) == ("first print\nof the day", "red cotton", "rust")
    assert (piece.plate, piece.sheet, piece.side) == ("leaf", "A", "3 in")
    assert panel.desk.said == "rust <b>leaf</b>: side 3 in."
    hand(panel, chose="good-02")
    assert [panel.note.value, panel.lines["ground"].value] == ["", ""]
    panel.lines["side"].value = "wide"
    assert "side" in panel.lines["side"].problem and now(panel).piece.side == ""
    panel.lines["ground"].value = "two\nlines"
    assert panel.lines["ground"].problem and now(panel).piece.ground == ""
    panel.lines["ground"].value = "blue"
    assert panel.lines["ground"].problem == ""


@pytest.mark.parametrize("name", ["good-02", "old", "", "  ", "two\nlines"])
def test_a_name_that_is_taken_or_none_is_refused_beside_its_field(panel, name):
    """Two pieces would have one name."""
    hand(panel, chose="good-01")
    panel.name.value = name
    assert panel.name.problem and names(panel)[0] == "good-01"
    hand(panel, chose="good-02")
    assert panel.name.problem == ""


def test_something_is_said_of_all_pieces(panel):
    """Ground and paint would have to be typed for every piece."""
    panel.surface.value = "wet"
    for field, text in (("ground", "red"), ("paints", "frost"), ("plate", "rings"), ("sheet", "B"), ("side", "80")):
        panel.all_lines[field].value = text
    of_all = now(panel).of_all
    assert (of_all.surface, of_all.ground, of_all.paints) == ("wet", "red", "frost")
    assert (of_all.plate, of_all.sheet, of_all.side) == ("rings", "B", "80")
    panel.all_lines["side"].value = "wide"
    assert panel.all_lines["side"].problem and now(panel).of_all.side == "80"
    with pytest.raises(InvalidInputError, match="Paint is wet, cured, unknown; got 'damp'. Use one of these."):
        photographs.said_of_all(now(panel), surface="damp")
    panel.undo.press()
    assert panel.all_lines["side"].value == ""


# --- kept -------------------------------------------------------------------------------------------------------------


def test_without_a_catalogue_the_pieces_join_the_pile_on_this_page(panel):
    """Someone who only tries it out would see nothing in the other panels."""
    assert panel.where.value.startswith("There is no catalogue behind this page")
    hand(panel, chose="good-02")
    panel.lines["ground"].value = "blue"
    panel.all_lines["ground"].value = "red"
    panel.all_lines["side"].value = "3in"
    hand(panel, discarded="good-04")
    panel.keep.press()
    table = panel.desk.session.table.set_index("swatch_id")
    assert list(table.index) == ["old", "good-01", "good-02", "good-03"]
    assert table["ground"].tolist()[1:] == ["red", "blue", "red"] and table["side"].tolist()[1:] == [76.2] * 3
    assert set(panel.desk.session.crops) == {"good-01", "good-02", "good-03"}
    assert panel.desk.said == "3 pieces in the pile, for as long as this page is open."
    assert panel.state.value.endswith(", all kept.") and panel.keep.disabled
    assert panel.keep.label == "All pieces are kept"
    assert [piece.swatch_id for piece in panel.desk.session.pieces][0] == "old"
    outline = [[corner[0] + 9, corner[1]] for corner in now(panel).shot.pieces[0].outline]
    hand(panel, moved="good-01", corners=outline)
    assert panel.keep.label == "Keep this 1 piece" and panel.state.value.endswith("2 of them kept.")
    panel.keep.press()
    assert len(panel.desk.session.table) == 4
    panel.undo.press()
    panel.undo.press()
    panel.undo.press()
    assert list(panel.desk.session.table["swatch_id"]) == ["old"]


def test_pieces_are_kept_with_their_pictures_and_all_that_was_said(kept, tmp_path, folder):
    """What was corrected by hand would not be what is kept."""
    hand(kept, discarded="good-04")
    outline = [[corner[0] - 20, corner[1]] for corner in now(kept).shot.pieces[0].outline]
    hand(kept, moved="good-01", corners=outline)
    kept.name.value = "rust"
    kept.note.value = "<script>alert(1)</script>"
    kept.surface.value = "cured"
    kept.all_lines["ground"].value = "red"
    lightness = rows(kept)["lightness"]
    kept.keep.press()
    assert kept.desk.said == f"3 pieces kept in {kept.desk.session.where}."
    assert kept.where.value == f"Pieces are kept in {kept.desk.session.where}."
    table = kept.desk.session.table.set_index("swatch_id")
    assert set(table.index) == {"rust", "good-02", "good-03"}
    assert table.loc["rust", "lightness"] == pytest.approx(lightness["rust"])
    assert table.loc["rust", "note"] == "<script>alert(1)</script>"
    assert set(table["ground"]) == {"red"} and set(table["surface"]) == {"cured"}
    assert kept.desk.session.crops["rust"].shape[2] == 4
    with open_catalogue(tmp_path / "pile.sqlite") as pile:
        assert pile.show("rust").photos == (("good.png", str(folder / "good.png")),)
    assert not (tmp_path / "photos").exists()  # it has a place of its own
    assert kept.keep.disabled and now(kept).shot.kept["rust"][0] == "rust"
    hand(kept, chose="rust")
    assert kept.kept.value == "Kept as rust." and not shown(kept.fields)


def test_keeping_is_taken_back_and_done_again(kept):
    """A pile kept by mistake would stay for ever."""
    kept.keep.press()
    kept.undo.press()
    assert len(kept.desk.session.table) == 0 and kept.keep.label == "Keep these 4 pieces"
    kept.redo.press()
    assert len(kept.desk.session.table) == 4 and kept.keep.disabled
    kept.undo.press()
    kept.keep.press()
    assert len(kept.desk.session.table) == 4


def test_a_dropped_photograph_is_kept_beside_the_catalogue(tmp_path, folder):
    """The photograph would be gone with the page, and no piece could be measured again."""
    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    data = (folder / "pair.png").read_bytes()
    send(panel, data, HOSTILE)
    assert panel.where.value.endswith(f"The photograph itself is copied to {str(tmp_path / 'photos')!r}.")
    panel.keep.press()
    (copy,) = (tmp_path / "photos").iterdir()
    assert copy.read_bytes() == data
    name = "<img src=x onerror=alert(1)>-01"
    assert desk.catalogue.show(name).photos == ((HOSTILE, str(copy)),)
    assert now(panel).shot.file == copy and not now(panel).shot.dropped
    desk.close()

    # opened anew, the same photograph is known, and nothing of it is doubled
    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    send(panel, data, "another name.png")
    assert panel.desk.said.endswith(f"This photograph is known already, as {HOSTILE}.")
    assert panel.state.value.endswith(", all kept.") and panel.keep.disabled
    hand(panel, chose=name)
    assert panel.kept.value == f"Kept as {name}."
    desk.close()


def test_a_kept_piece_that_is_outlined_anew_is_measured_again(kept):
    """A correction after keeping would be lost, or make a second piece."""
    kept.keep.press()
    outline = [[corner[0] - 20, corner[1]] for corner in now(kept).shot.pieces[0].outline]
    hand(kept, moved="good-01", corners=outline)
    assert kept.keep.label == "Keep this 1 piece"
    kept.keep.press()
    assert len(kept.desk.session.table) == 4
    assert len(kept.desk.catalogue.history("good-01")) == 2
    assert len(kept.desk.catalogue.history("good-02")) == 1
    assert kept.desk.session.piece("good-01").lightness == pytest.approx(rows(kept).loc["good-01", "lightness"])
    hand(kept, drawn=[[400, 60], [400, 180], [500, 180], [500, 60]])
    kept.keep.press()
    assert len(kept.desk.session.table) == 5


def test_a_known_photograph_comes_back_as_it_was_kept(kept, folder, tmp_path):
    """All that was corrected by hand would have to be corrected again, or be undone by keeping once more."""
    outline = [[corner[0] - 20, corner[1]] for corner in now(kept).shot.pieces[0].outline]
    hand(kept, moved="good-01", corners=outline)
    kept.name.value = "rust"
    hand(kept, discarded="good-04")
    hand(kept, drawn=[[400, 60], [400, 180], [500, 180], [500, 60]])
    kept.keep.press()
    before = rows(kept)["lightness"]

    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    panel.add(folder / "good.png")
    assert names(panel) == ["rust", "good-02", "good-03", "good-04", "good-05"]
    assert now(panel).shot.pieces[3].discarded and now(panel).shot.pieces[4].found is None
    assert rows(panel)["lightness"].to_dict() == pytest.approx(before.to_dict(), abs=0.02)
    assert panel.state.value.endswith(", all kept.") and panel.keep.disabled
    hand(panel, chose="rust")
    assert shown(panel.undraw) and not shown(panel.fields)

    # one that had been discarded is brought back: it alone is new, and nothing else is measured again
    hand(panel, chose="good-04")
    panel.back.press()
    panel.keep.press()
    assert panel.desk.said.startswith("1 piece kept in")
    assert {name: len(desk.catalogue.history(name)) for name in names(panel)} == dict.fromkeys(names(panel), 1)
    (tmp_path / "good.png").write_bytes((folder / "pair.png").read_bytes())
    panel.add(tmp_path / "good.png")
    assert [piece.name for piece in now(panel).shots[1].pieces] == ["good(2)-01", "good(2)-02"]
    desk.close()


def test_a_known_photograph_keeps_its_pieces_names_beside_another_of_its_name(kept, folder, tmp_path):
    """Known pieces would be shown by names that nobody gave them."""
    for name in names(kept):
        hand(kept, chose=name)
        kept.name.value = name.replace("good", "mine")
    kept.keep.press()
    (tmp_path / "good.png").write_bytes((folder / "pair.png").read_bytes())
    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    panel.add([tmp_path / "good.png", folder / "good.png"])
    first, second = now(panel).shots
    assert [piece.name for piece in first.pieces] == ["good-01", "good-02"]
    assert second.name == "good (2).png"
    assert [piece.name for piece in second.pieces] == ["mine-01", "mine-02", "mine-03", "mine-04"]
    assert not second.to_keep
    desk.close()


def textured(seed, size=200):
    """A print that is like no other: its own pattern of two paints."""
    import cv2

    noise = np.random.default_rng(seed).standard_normal((size, size)).astype(np.float32)
    return cv2.GaussianBlur(noise, (0, 0), 9) > 0


def printed(path, *, seeds, board=0.8):
    """A board of prints whose patterns can be told apart, and a card."""
    from made_scenes import encoded

    linear = np.full((*SIZE, 3), board)
    linear[75:185, 790:930] = 0.18
    for number, seed in enumerate(seeds):
        row, col = 250 + 260 * (number // 3), 80 + 280 * (number % 3)
        print_ = np.where(textured(seed)[..., None], (0.3, 0.1, 0.08), (0.05, 0.1, 0.2))
        linear[row : row + 200, col : col + 200] = print_
    Image.fromarray(encoded(linear)).save(path)
    return path


@pytest.fixture
def again(tmp_path):
    """A panel where a second photograph of two known prints, and of a new one, lies on the desk."""
    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    panel.add(printed(tmp_path / "first.png", seeds=(1, 2, 3)))
    panel.keep.press()
    panel.away.press()
    panel.add(printed(tmp_path / "second.png", seeds=(2, 4, 1), board=0.7))
    yield panel
    desk.close()


def test_likely_known_pieces_are_offered_and_a_person_decides(again):
    """A piece photographed twice would be in the pile twice, or two pieces be made one unasked."""
    shot = now(again).shot
    offered = {name: [offer.name for offer in offers] for name, offers in shot.offers.items()}
    assert offered == {"second-01": ["first-02"], "second-03": ["first-01"]}
    assert again.next.label == "Next of 2 to look at"
    again.next.press()
    assert again.board.chosen == "second-01"
    assert again.offers[0].words.value.startswith("May be first-02, which you have already: ")
    assert shown(again.offers[0]) and not shown(again.offers[1]) and shown(again.another)
    again.offers[0].yes.press()
    assert now(again).piece.same == "first-02" and again.offers[0].yes.disabled
    assert again.desk.said == "second-01 is first-02, measured again."
    again.next.press()
    assert again.board.chosen == "second-03"
    again.another.press()
    assert now(again).piece.same == ANOTHER and again.another.disabled and again.next.disabled
    again.keep.press()
    assert set(again.desk.session.table["swatch_id"]) == {"first-01", "first-02", "first-03", "second-02", "second-03"}
    assert len(again.desk.catalogue.history("first-02")) == 2
    assert now(again).shot.kept["second-01"][0] == "first-02"


def test_two_pieces_cannot_be_the_same_known_one(again):
    """One known piece would lie on the board twice."""
    said = photographs.same_as(now(again), "second-01", "first-01")
    with pytest.raises(InvalidInputError, match="'second-01' is said to be 'first-01' already. Choose one."):
        photographs.same_as(said, "second-03", "first-01")
    assert photographs.same_as(photographs.same_as(said, "second-01", None), "second-03", "first-01")


def test_keeping_beside_the_kernel_ends_in_its_own_thread(kept):
    """The page would stand still while pictures are cut out, or widgets be touched from two threads."""
    seen = []
    kept.desk.watch(lambda new, old: seen.append(threading.current_thread()))

    async def page():
        kept.keep.press()
        assert kept.busy.value == "Keeping 4 pieces"
        while kept.busy.value:
            await asyncio.sleep(0.005)

    asyncio.run(page())
    assert len(kept.desk.session.table) == 4 and set(seen) == {threading.main_thread()}


def test_what_changes_while_it_is_made_ready_is_not_kept_by_halves(kept):
    """The catalogue would have another outline than the page."""
    async def page():
        kept.keep.press()
        hand(kept, discarded="good-04")
        while kept.busy.value:
            await asyncio.sleep(0.005)

    asyncio.run(page())
    assert kept.desk.problem == "The pieces have changed meanwhile. Keep again."
    assert len(kept.desk.session.table) == 0


def test_a_place_that_cannot_be_written_to_is_said(tmp_path, folder):
    """Pieces would be kept without their photograph."""
    desk = open_desk(tmp_path / "pile.sqlite")
    panel = desk.photograph()
    send(panel, (folder / "pair.png").read_bytes(), "x.png")
    (tmp_path / "photos").write_text("in the way")
    panel.keep.press()
    assert "must be a folder" in panel.desk.problem
    assert len(panel.desk.session.table) == 0 and panel.keep.label == "Keep these 2 pieces" and panel.busy.value == ""
    desk.close()


def test_nothing_changes_what_it_was_made_from(panel):
    """Undo would find the photographs already changed."""
    first = now(panel)
    before = first.shot.result.table.copy()
    photographs.with_discarded(photographs.renamed(first, "good-01", "x"), "x")
    photographs.with_reference(first, "none")
    with pytest.raises(CalibrationError, match="24-patch chart"):
        photographs.with_reference(first, "chart")
    assert first.shot is now(panel).shot and first.shot.result.table.equals(before)
