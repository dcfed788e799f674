"""Rendered photographs: is what they say about themselves true, by another way of reckoning?"""

from __future__ import annotations

import dataclasses
import hashlib
import importlib.util
import json
import subprocess
import sys
import warnings
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from PIL import Image

from contrastkit.camera import synthetic
from contrastkit.camera.synthetic import SceneSpec, random_spec, render_scene, save_scene
from contrastkit.columns import SWATCHES, check_table
from contrastkit.errors import InvalidInputError

# Nothing but the drawing itself: even light, flat cloth, no noise, no lens.
EVEN = {"gradient": 0, "vignetting": 0, "undulation": 0, "exposure": 1, "noise": 0, "blur": 0}
PLAIN = SceneSpec(seed=7, size=(450, 600), pieces=5, perspective=0.02, **EVEN)
BARE = dataclasses.replace(PLAIN, loads=(-9.0,), pearly=0)  # cotton without paint


def decoded(codes):
    """IEC 61966-2-1:1999, written here again so that the tests do not lean on the code they test."""
    v = np.asarray(codes, dtype=float) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def lightness(luminance):
    """CIE 15:2004, for luminance factors above 0.009 (all here are)."""
    return 116 * np.cbrt(luminance) - 16


def inner_mean(scene, outline, shrink=4):
    """Mean linear RGB inside an outline, `shrink` pixels away from its edge."""
    mask = np.zeros(scene.codes.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(np.array(outline)[:, ::-1]).astype(np.int32)], 1)
    mask = cv2.erode(mask, np.ones((2 * shrink + 1, 2 * shrink + 1), np.uint8))
    return decoded(scene.codes[mask > 0]).mean(axis=0)


def depth_in(outline, row, col):
    """Pixels from a place to the nearest side of an outline; less than nought outside."""
    return cv2.pointPolygonTest(outline.astype(np.float32), (float(row), float(col)), True)


def outlines(scene):
    return [np.array(json.loads(text)) for text in scene.truth["outline"]]


def test_grey_cotton_decodes_to_its_stated_lightness():
    """Greys pass the camera matrix unchanged; if the truth or the drawing were off, they would not come back."""
    scene = render_scene(dataclasses.replace(BARE, low_contrast=1.0, backing="grey", tone="srgb"))

    seen = [inner_mean(scene, o) @ [0.2126, 0.7152, 0.0722] for o in outlines(scene)]
    # Half a code is 0.2 L*, and the margin left out holds other threads than the middle.
    assert np.allclose(lightness(np.array(seen)), scene.truth["lightness"], atol=0.5)


@pytest.mark.parametrize("row", [3, 60, 120])
@pytest.mark.parametrize("illuminant", ["D65", "A", "FL7"])
def test_dyed_cotton_has_the_lightness_colour_science_gives_its_spectrum(row, illuminant):
    """A wrong observer, light or sum would part the truth from the standard tristimulus integration."""
    scene = render_scene(
        dataclasses.replace(BARE, illuminant=illuminant, grounds=(row,), undyed=0.0, low_contrast=0.0, pieces=3)
    )

    expected = independent_lightness(synthetic.paint_reflectances()[row], illuminant)
    # The weave's threads average to nought only roughly (0.1 L*), 5 nm steps against 1 nm cost up to 0.2 L*.
    assert np.allclose(scene.truth["lightness"], expected, atol=0.35)


def test_cotton_painted_all_over_in_its_own_colour_keeps_that_colours_lightness():
    """Cover, opacity and weave mix ground and paint; mixing a thing with itself must change nothing."""
    scene = render_scene(
        dataclasses.replace(
            PLAIN, grounds=(60,), paints=(60,), loads=(3.0,), undyed=0, low_contrast=0, pearly=0, rim=0.0, pieces=3
        )
    )

    assert (scene.truth["coverage"] > 0.9).all()
    expected = independent_lightness(synthetic.paint_reflectances()[60], "D65")
    assert np.allclose(scene.truth["lightness"], expected, atol=0.35)


def independent_lightness(reflectance, illuminant):
    """colour-science's own tristimulus integration at 1 nm, 360-780 nm, from a reflectance at our wavelengths."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour tells of missing plotting extras and of its extrapolations
        import colour

        sd = colour.SpectralDistribution(dict(zip(np.arange(400.0, 701, 5), reflectance, strict=True)))
        xyz = colour.sd_to_XYZ(sd, illuminant=colour.SDS_ILLUMINANTS[illuminant])
        return float(colour.lightness(xyz[1], method="CIE 1976"))


def test_the_card_reflects_eighteen_per_cent_of_the_exposure():
    """The one thing every measurement hangs on."""
    scene = render_scene(dataclasses.replace(PLAIN, exposure=0.8, white_balance=0.0))

    # 8 bits: half a code at this grey is 0.0005 in linear light.
    assert np.allclose(inner_mean(scene, scene.reference_outline), 0.18 * 0.8, atol=0.0006)
    assert scene.reference_lightness == pytest.approx([49.496], abs=1e-3)  # CIE L* of Y = 18 %


def test_the_scales_six_steps_touch_and_have_their_stated_lightness():
    """Steps in the wrong order, place or lightness would spoil every tone curve fitted to them."""
    scene = render_scene(dataclasses.replace(PLAIN, reference="scale", backing="grey"))

    seen = [lightness(inner_mean(scene, patch)[1]) for patch in scene.reference_patches]
    assert np.allclose(seen, [95.5, 81, 66, 50.5, 35.5, 20.5], atol=0.3)  # half a code is up to 0.25 L*
    for left, right in zip(scene.reference_patches, scene.reference_patches[1:], strict=False):
        assert np.allclose([left[1], left[2]], [right[0], right[3]], atol=0.02)


def test_the_charts_patches_stand_in_the_standard_order():
    """A chart read in the wrong order fits a matrix of nonsense."""
    scene = render_scene(dataclasses.replace(PLAIN, reference="chart", pieces=2, backing="black", size=(900, 1200)))

    rgb = np.array([inner_mean(scene, patch) for patch in scene.reference_patches])
    assert len(rgb) == 24
    purest = [int(np.argmax(rgb[:, channel] / (rgb.sum(axis=1) - rgb[:, channel] + 0.01))) for channel in range(3)]
    assert purest == [14, 13, 12]  # red, green, blue
    assert sorted(range(18, 24), key=lambda i: -rgb[i, 1]) == [18, 19, 20, 21, 22, 23]
    neutral = rgb[18:].max(axis=1) - rgb[18:].min(axis=1)
    assert (neutral < 0.05).all()  # the chart's white is a little yellow
    # Neutral 5 of this chart is L* 50.84 under D65 (by colour-science).
    assert lightness(rgb[21] @ [0.2126, 0.7152, 0.0722]) == pytest.approx(50.84, abs=0.7)


def test_the_camera_sees_lightness_nearly_as_the_eye_does():
    """A matrix fitted to 24 patches leaves a median of 0.4-0.7 L* (reckoned apart from this package); so must ours."""
    for illuminant, camera in (("D65", "Nikon 5100 (NPL)"), ("A", "Nikon 5100 (NPL)"), ("D65", "Sigma SDMerill (NPL)")):
        values = synthetic.paint_reflectances() @ synthetic._projector(illuminant, camera)
        seen = np.clip(values[:, :3], 0, 1) @ [0.2126, 0.7152, 0.0722]
        error = lightness(seen) - lightness(values[:, 3])
        assert np.median(np.abs(error)) < 0.8
        assert np.sqrt(np.mean(error**2)) < 1.7  # vivid paint falls outside sRGB and is cut off there


def test_the_perfect_diffuser_is_white_under_every_light_and_camera():
    """White balance first: a tint here would colour every grey card."""
    for illuminant in synthetic.ILLUMINANTS:
        for camera in synthetic.CAMERAS:
            assert np.allclose(np.ones(61) @ synthetic._projector(illuminant, camera), 1, atol=1e-12)


def test_outlines_lie_on_the_drawn_edges():
    """Outlines off by a pixel would blame a good finder and praise a bad one."""
    for seed in range(4):
        spec = dataclasses.replace(
            BARE, seed=seed, backing="white", grounds=(), undyed=0, low_contrast=0, shadows=0, shapes=synthetic.SHAPES
        )
        scene = render_scene(spec)
        for outline in outlines(scene):
            assert edge_error(scene, outline) < 0.3


def edge_error(scene, outline):
    """Mean distance in pixels between an outline's sides and the steepest change of light across them."""
    green = decoded(scene.codes[..., 1]).astype(np.float32)
    misses = []
    for start, end in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        across = np.array([-(end - start)[1], (end - start)[0]]) / np.linalg.norm(end - start)
        reach = np.arange(-6, 6.01, 0.25)
        feet = start + np.linspace(0.25, 0.75, 25)[:, None] * (end - start)
        lines = feet[:, None] + reach[:, None] * across
        profile = cv2.remap(green, lines[..., 1].astype(np.float32), lines[..., 0].astype(np.float32), cv2.INTER_LINEAR)
        mean = profile.mean(axis=0)
        low, high = mean[:9].mean(), mean[-9:].mean()
        if abs(high - low) < 0.05:  # cotton and board too alike for an edge to be placed
            continue
        share = (mean - low) / (high - low)
        misses.append(abs(np.sum(1 - share) * 0.25 - 6 - 0.125))
    return float(np.mean(misses)) if misses else 0.0


def test_outlines_run_clockwise_inside_the_frame_and_never_touch():
    """Two pieces drawn into one another would have no truth."""
    for seed in range(12):
        scene = render_scene(random_spec(seed, size=(300, 400), reference=("card", "scale", "chart")[seed % 3]))
        everything = [*outlines(scene), np.array(scene.reference_outline)]
        for n, (row, col) in enumerate(outline.T for outline in everything):
            assert np.sum(col * np.roll(row, -1) - np.roll(col, -1) * row) > 0
            assert min(row.min(), col.min()) > 0 and row.max() < 300 and col.max() < 400
            others = [other for m, other in enumerate(everything) if m != n]
            assert max(depth_in(other, r, c) for other in others for r, c in zip(row, col, strict=True)) < -0.015 * 400


def test_shadows_and_light_change_the_picture_but_not_the_truth():
    """Truth that moved with the lamp would not be the paint's."""
    lit = render_scene(PLAIN)
    shaded = render_scene(dataclasses.replace(PLAIN, shadows=0.0))
    dim = render_scene(dataclasses.replace(PLAIN, gradient=0.25, vignetting=0.35, exposure=0.55))

    assert lit.truth.equals(shaded.truth)
    assert lit.truth.equals(dim.truth)
    assert (lit.codes != shaded.codes).any() and (lit.codes != dim.codes).any()
    for outline in outlines(lit):
        mask = np.zeros(lit.codes.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.round(outline[:, ::-1]).astype(np.int32)], 1)
        inside = cv2.erode(mask, np.ones((5, 5), np.uint8)) > 0
        assert (lit.codes[inside] == shaded.codes[inside]).all()


def test_the_truth_is_the_linear_mean_of_its_parts():
    """Paint, ground and whole must agree: the whole lies between, and outside the rim nothing is counted twice."""
    truth = render_scene(dataclasses.replace(PLAIN, pieces=8, rim=0.06, loads=(-0.1, 0.1))).truth

    low = truth[["lightness_paint", "lightness_ground"]].min(axis=1)
    high = truth[["lightness_paint", "lightness_ground"]].max(axis=1)
    assert truth["lightness"].between(low - 1e-6, high + 1e-6).all()
    # The rim is bare cotton; threads and ragged paint at its edge leave it within two steps of the ground inside.
    assert (abs(truth["lightness_rim"] - truth["lightness_ground"]) < 6).all()
    assert truth["coverage"].between(0.05, 0.95).all()
    edges = np.digitize(truth["lightness"], [40, 70])
    assert list(truth["group"]) == [("dark", "medium", "light")[edge] for edge in edges]


def test_a_rim_of_bare_ground_runs_all_round_each_piece():
    """The rim must follow the outline on every side, turned and in perspective; paint over it would be a bug."""
    dark_on_pale = {"paints": (0,), "grounds": (66,), "undyed": 0, "low_contrast": 0, "pearly": 0, "loads": (3.0,)}
    scene = render_scene(dataclasses.replace(PLAIN, size=(900, 1200), rim=0.08, **dark_on_pale))

    light = decoded(scene.codes[..., 1])
    for outline, rim in zip(outlines(scene), scene.truth["lightness_rim"], strict=True):
        assert rim == pytest.approx(93, abs=1)  # pale cotton, row 66; the paint, row 0, has L* 14
        middle = outline.mean(axis=0)
        assert light[tuple(middle.astype(int))] < 0.2
        for start, end in zip(outline, np.roll(outline, -1, axis=0), strict=True):
            for part in (0.3, 0.5, 0.7):
                edge = start + part * (end - start)
                inward = (middle - edge) / np.linalg.norm(middle - edge)
                row, col = np.round(edge + 3 * inward).astype(int)
                assert light[row, col] > 0.7


def test_the_phones_curve_moves_greys_as_half_a_smoothstep_does():
    """18 % grey is sRGB code 117.6 (IEC curve); half a smoothstep of 117.6/255 is 0.4515 of 255 = 114.2."""
    spec = dataclasses.replace(PLAIN, tone="phone")
    scene = render_scene(spec)

    row, col = np.mean(scene.reference_outline, axis=0).astype(int)
    e = 117.6 / 255
    expected = 255 * (e + e * e * (3 - 2 * e)) / 2
    assert scene.codes[row, col].astype(float) == pytest.approx([expected] * 3, abs=1)


def test_the_phone_makes_colours_a_seventh_more_vivid():
    """Encoded saturation x 1.15 about the luma: the very thing a grey scale cannot undo."""
    chart = dataclasses.replace(PLAIN, size=(600, 800), reference="chart", pieces=0, exposure=0.7)
    plain, phone = render_scene(chart), render_scene(dataclasses.replace(chart, tone="phone"))

    for patch in plain.reference_patches:
        row, col = np.mean(patch, axis=0).astype(int)
        e = plain.codes[row, col] / 255
        curved = (e + e * e * (3 - 2 * e)) / 2
        luma = curved @ [0.2126, 0.7152, 0.0722]
        expected = np.clip(luma + 1.15 * (curved - luma), 0, 1) * 255
        assert np.allclose(phone.codes[row, col], expected, atol=2)  # both pictures are rounded to 8 bits


def test_lightness_is_that_of_the_mean_light_not_the_mean_of_lightness():
    """Half L* 20 on L* 91 comes to 70 in light and 55 in lightness; only the first is what the eye adds up."""
    black_on_white = {"grounds": (2,), "paints": (10,), "undyed": 0, "low_contrast": 0, "pearly": 0, "loads": (0.0,)}
    scene = render_scene(dataclasses.replace(PLAIN, size=(900, 1200), rim=0.0, backing="grey", **black_on_white))

    for outline, stated in zip(outlines(scene), scene.truth["lightness"], strict=True):
        seen = inner_mean(scene, outline, shrink=0) @ [0.2126, 0.7152, 0.0722]
        # Whole pixels along the edge take in some board; lightness averaged instead would be off by 5 and more.
        assert lightness(seen) == pytest.approx(stated, abs=0.8)


def test_equal_specs_give_equal_pictures_and_other_seeds_others():
    """Without this no failure could be looked at twice."""
    spec = random_spec(5, size=(150, 200), clutter=synthetic.CLUTTER)

    first, second = render_scene(spec), render_scene(spec)
    other = render_scene(dataclasses.replace(spec, seed=6))
    assert (first.codes == second.codes).all() and first.truth.equals(second.truth)
    assert (first.codes != other.codes).any()


def test_a_smaller_frame_shows_the_same_board_smaller():
    """Sizes that did not follow the frame would make small test scenes a different problem."""
    large = render_scene(dataclasses.replace(PLAIN, size=(900, 1200), seed=2))
    small = render_scene(dataclasses.replace(PLAIN, size=(450, 600), seed=2))

    for big, little in zip(outlines(large), outlines(small), strict=True):
        assert np.allclose(big, little * 2, atol=3)  # the coarse map of free places is rounded to its cells
    assert np.allclose(large.truth["lightness"], small.truth["lightness"], atol=8)  # same materials, other strokes


def test_clutter_is_drawn_where_it_says():
    """A finder is only tried on a hand, a ruler and labels if they are there, away from the pieces."""
    spec = dataclasses.replace(PLAIN, size=(600, 800), backing="black", clutter=("ruler", "hand", "label"), shadows=0)
    scene, empty = render_scene(spec), render_scene(dataclasses.replace(spec, clutter=()))

    assert len(scene.clutter_outlines) >= 4
    for outline in scene.clutter_outlines:
        row, col = np.clip(np.mean(outline, axis=0), 0, [599, 799]).astype(int)
        assert decoded(scene.codes[row, col]).max() > 2.5 * decoded(empty.codes).min()
        assert all(depth_in(piece, row, col) < 0 for piece in outlines(scene))


def test_two_cards_differ_and_only_one_is_the_reference():
    """The doubtful case must really be doubtful: both plain, both grey, not alike."""
    scene = render_scene(dataclasses.replace(PLAIN, reference="two cards", size=(600, 800)))

    first, second = inner_mean(scene, scene.reference_outline), inner_mean(scene, scene.decoy_outline)
    assert np.allclose(first, 0.18, atol=0.002)
    assert abs(second[1] - 0.18) > 0.05 and np.ptp(second) < 0.004


def test_no_reference_and_no_pieces_leave_empty_truth():
    """Nothing is an empty table with its columns, not a missing one."""
    scene = render_scene(dataclasses.replace(PLAIN, reference="none", pieces=0))

    assert () == scene.reference_outline == scene.reference_patches == scene.decoy_outline
    assert len(scene.truth) == 0 and list(scene.truth) == synthetic.TRUTH_COLUMNS


def test_random_specs_fill_their_ranges():
    """A range half used would leave half the faults untried."""
    specs = [random_spec(seed) for seed in range(400)]

    limits = {"gradient": (0, 0.25), "vignetting": (0, 0.35), "perspective": (0, 0.04), "exposure": (0.55, 1.05),
              "white_balance": (0, 0.12), "rim": (0, 0.08), "shadows": (0, 0.4)}  # fmt: skip
    for name, (low, high) in limits.items():
        values = np.array([getattr(spec, name) for spec in specs])
        assert low <= values.min() < low + 0.05 * (high - low) and high - 0.05 * (high - low) < values.max() <= high
    for name, words in (("illuminant", {"A", "D50", "D65", "LED-B3", "FL7"}), ("backing", {"white", "grey", "black"})):
        assert {getattr(spec, name) for spec in specs} == words
    assert {spec.camera for spec in specs} == {"Nikon 5100 (NPL)", "Sigma SDMerill (NPL)"}
    assert {spec.quality for spec in specs} == {92}
    assert random_spec(3) == random_spec(3) != random_spec(4)
    assert random_spec(3, gradient=0.9).gradient == 0.9


def test_the_share_of_lost_pixels_tells_overexposed_and_too_vivid_pieces():
    """Errors on pieces whose light the file has lost are not the measurer's; they must be told apart."""
    pale = dataclasses.replace(BARE, grounds=(66,), undyed=0, low_contrast=0, backing="grey")
    vivid = dataclasses.replace(pale, grounds=(129,), exposure=0.8)  # a blue beyond sRGB: its red is below nought

    assert (synthetic.clipped_shares(render_scene(dataclasses.replace(pale, exposure=0.7)))["burnt"] == 0).all()
    assert (synthetic.clipped_shares(render_scene(dataclasses.replace(pale, exposure=1.3)))["burnt"] > 0.9).all()
    assert (synthetic.clipped_shares(render_scene(vivid))["cut"] > 0.9).all()


def test_saved_photographs_are_jpegs_with_halved_colour(tmp_path):
    """Phones halve the colour resolution; a file without that would be easier than life."""
    scene = render_scene(PLAIN)
    save_scene(scene, tmp_path / "scene.jpg")

    with Image.open(tmp_path / "scene.jpg") as photo:
        assert (photo.format, photo.size) == ("JPEG", (600, 450))
        assert [layer[1:3] for layer in photo.layer] == [(2, 2), (1, 1), (1, 1)]
        again = np.asarray(photo.convert("RGB")).astype(float)
    assert np.abs(again - scene.codes).mean() < 4  # quality 92 on woven cloth


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"backing": "pink"}, "backing must be from white, grey, black; got 'pink'"),
        ({"reference": "wedge"}, "reference must be from card"),
        ({"tone": "film"}, "tone must be from srgb, phone"),
        ({"shapes": ("square", "star")}, "shapes must be from square.*got 'star'"),
        ({"clutter": ("cat",)}, "clutter must be from ruler"),
        ({"illuminant": "candle"}, "illuminant must be one that colour-science knows.*'candle'.*A, D50, D65"),
        ({"camera": "box"}, "camera must be one that colour-science knows.*'box'"),
        ({"size": (20, 30)}, "at least 64 rows and columns.*larger frame"),
        ({"pieces": 400}, "room for everything.*fewer pieces"),
    ],
)
def test_a_spec_that_means_nothing_is_refused_in_words(fault, words):
    """A misspelt word must not silently give another scene."""
    with pytest.raises(InvalidInputError, match=words):
        render_scene(dataclasses.replace(PLAIN, **fault))


def test_an_unknown_setting_is_refused():
    """random_spec(gradent=0) must not pass unnoticed."""
    with pytest.raises(InvalidInputError, match="A scene has no 'gradent'"):
        random_spec(1, gradent=0)


def test_importing_it_does_not_load_colour_science():
    """The spectra are heavy; only rendering may pay for them."""
    code = "import sys, contrastkit.camera.synthetic; print('colour' in sys.modules)"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert shown.stdout.strip() == "False"


DATA = Path(__file__).parents[1] / "data"


def test_the_demos_files_are_those_its_card_describes():
    """A photograph changed without its card and truth would teach lies."""
    card = (DATA / "thistlewick" / "card.md").read_text(encoding="utf-8")
    truth = check_table(pd.read_csv(DATA / "thistlewick" / "truth.csv"), SWATCHES)
    photos = sorted((DATA / "thistlewick" / "photos").glob("*.jpg"))

    assert len(photos) >= 3 and sorted(set(truth["photo"])) == [photo.name for photo in photos]
    for photo in photos:
        assert hashlib.sha256(photo.read_bytes()).hexdigest() in card
        with Image.open(photo) as opened:
            assert opened.size == (4000, 3000)
    assert set(truth["group"]) == {"dark", "medium", "light"}


def test_the_demos_truth_can_be_rendered_again():
    """The script beside the photographs must be the one that made them."""
    found = importlib.util.spec_from_file_location("render_demo", DATA / "render_demo.py")
    demo = importlib.util.module_from_spec(found)
    found.loader.exec_module(demo)
    name, (spec, _, _) = next(iter(demo.demo_specs().items()))

    again = demo.named_truth(render_scene(spec), f"{name}.jpg", start=1)
    kept = pd.read_csv(DATA / "thistlewick" / "truth.csv").query("photo == @again.photo[0]")
    assert list(kept["swatch_id"]) == list(again["swatch_id"])
    # Last bits may move with the libraries; the table is rounded to 0.001.
    assert np.allclose(kept["lightness"], again["lightness"], atol=0.02)
