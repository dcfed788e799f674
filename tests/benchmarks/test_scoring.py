"""The benchmarks' own arithmetic: a score that is wrong would let a worse package pass."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import afternoon
import numpy as np
import pandas as pd
import pytest
from accuracy import Tally
from common import Rendered, outlines, overlap, pairs, rendered_scenes
from PIL import ExifTags, Image

from contrastkit.camera.synthetic import SceneSpec, render_scene, save_scene

SQUARE = np.array([[0, 0], [0, 99], [99, 99], [99, 0]], dtype=float)


@dataclass(frozen=True)
class MadeScene:
    truth: pd.DataFrame


def made(*lightness: float) -> Rendered:
    """Squares of these lightnesses side by side, 200 pixels apart."""
    outline = [json.dumps((SQUARE + [0, 200 * place]).tolist()) for place in range(len(lightness))]
    return Rendered(0, Path("made.jpg"), MadeScene(pd.DataFrame({"outline": outline, "lightness": lightness})))


def test_each_true_piece_is_found_at_most_once_and_by_the_better_outline():
    """Counting a piece twice would hide a missed one."""
    found = [SQUARE + 5, SQUARE + 1, SQUARE + 500]
    assert pairs(found, [SQUARE]) == [(1, 0)]


def test_a_piece_outlined_by_less_than_four_fifths_is_missed_and_extra():
    """A fifth of the square cut off is the limit that was asked for."""
    assert pairs([SQUARE * [1, 0.78]], [SQUARE]) == []
    assert pairs([SQUARE * [1, 0.82]], [SQUARE]) == [(0, 0)]
    assert overlap(SQUARE * [1, 0.78], SQUARE) == pytest.approx(0.78, abs=0.01)  # counted in whole pixels


def test_every_number_of_a_tally_is_the_one_counted_by_hand():
    """Three of four found, one row too many, errors 0, 1 and 3, one across an edge, sigma 1."""
    rendered = made(20, 39.5, 60, 80)
    found = [SQUARE, SQUARE + [0, 200], SQUARE + [0, 400], SQUARE + [0, 900]]
    tally = Tally()
    tally.add(rendered, found, [20.0, 40.5, 63.0, 10.0], [1.0] * 4)

    assert {
        "pieces": 4, "found": 0.75, "extras": 0.25, "median": 1.0, "p95": pytest.approx(2.8), "wrong_group": 1 / 3,
        "refused": 0, "within_1_sigma": 2 / 3, "within_2_sigma": 2 / 3,
    } == tally.numbers()  # fmt: skip


def test_a_refused_photograph_counts_as_all_its_pieces_missed():
    """Else a package that refuses every hard photograph would come out best."""
    tally = Tally()
    tally.add(made(50, 60), [SQUARE, SQUARE + [0, 200]], [50.0, 60.0])
    tally.refuse(made(50, 60), "no card")

    assert tally.numbers()["found"] == 0.5
    assert tally.numbers()["refused"] == 1
    assert "within_1_sigma" not in tally.numbers()


def test_two_tallies_together_count_everything_once():
    """The share within sigma is asked over all scenes, not as a mean of means."""
    one, other = Tally(), Tally()
    one.add(made(50), [SQUARE], [51.0], [2.0])
    other.add(made(50, 60), [SQUARE], [55.0], [2.0])

    assert one.joined(other).numbers()["pieces"] == 3
    assert one.joined(other).numbers()["within_1_sigma"] == 0.5


def test_seeds_without_room_are_passed_over_and_each_file_is_gone_after_its_turn(tmp_path, monkeypatch):
    """A benchmark that stops at a crowded board, or fills the disk, is not run."""
    from contrastkit.camera import synthetic
    from contrastkit.errors import InvalidInputError

    def crowded(spec: SceneSpec) -> object:
        if spec.seed == 5:
            raise InvalidInputError("no room")
        return render_scene(spec)

    monkeypatch.setattr(synthetic, "render_scene", crowded)
    seen = []
    for rendered in rendered_scenes(tmp_path, 2, 5, size=(300, 400), pieces=2):
        assert rendered.path.exists()
        seen.append(rendered.seed)

    assert seen == [6, 7]
    assert list(tmp_path.iterdir()) == []


def test_the_peer_is_a_fair_one(tmp_path):
    """In even light on a white board it finds all and errs little; else the ratio would flatter us."""
    spec = SceneSpec(seed=2, size=(900, 1200), pieces=8, gradient=0, vignetting=0, shadows=0, low_contrast=0)
    scene = render_scene(spec)
    save_scene(scene, tmp_path / "easy.jpg")
    found, lightness = afternoon.measure(
        tmp_path / "easy.jpg", np.array(scene.reference_outline), scene.reference_lightness[0])
    matched = pairs(found, outlines(scene.truth["outline"]))
    errors = [abs(lightness[one] - scene.truth["lightness"].iloc[other]) for one, other in matched]

    assert len(scene.truth) == len(matched)
    assert np.median(errors) < 1.0  # what one card leaves: the camera's own colours, mean of L* instead of light


def test_a_signed_scene_is_the_same_picture_with_a_maker(tmp_path):
    """The third kind of scene must differ from a plain one by nothing but what the file says of its camera."""
    pictures, makers = [], []
    for maker in ("", "telephone"):
        for rendered in rendered_scenes(tmp_path, 1, 6, maker=maker, size=(300, 400), pieces=2):
            with Image.open(rendered.path) as photo:
                pictures.append(np.asarray(photo.convert("RGB")))
                makers.append(photo.getexif().get(ExifTags.Base.Make))

    assert np.array_equal(*pictures)
    assert makers == [None, "telephone"]
