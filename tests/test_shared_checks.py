"""The list of reference numbers kept beside the project: every one our code can answer, by its id."""

from __future__ import annotations

import json
from math import cos, radians
from pathlib import Path

import gold
import numpy as np
import pandas as pd
import pytest

from contrastkit.camera.correction import root_polynomial_terms
from contrastkit.compose.choosing import choose_stacks
from contrastkit.compose.groups import fixed_breaks, goodness_of_variance_fit, natural_breaks
from contrastkit.light.contrast import (
    access_yardsticks,
    bowman_sapolinski,
    ciede2000,
    lightness_difference,
    w3c_ratio,
    weber_to_background,
)
from contrastkit.light.distance import (
    BLUE_YELLOW_KERNEL,
    LUMINANCE_KERNEL,
    RED_GREEN_KERNEL,
    kernel_mtf,
    line_residual,
    visual_angle,
)
from contrastkit.light.lightness import (
    ADOBE_RGB,
    DISPLAY_P3,
    lightness_to_luminance,
    luminance,
    luminance_to_lightness,
    luminance_to_munsell_value,
    munsell_value_to_luminance,
    srgb1_to_lightness,
    srgb1_to_linear,
)
from contrastkit.light.vivid import apparent_lightness_fairchild, apparent_lightness_high

FILE = Path(__file__).parents[2] / "shared" / "reference" / "checks.json"
pytestmark = pytest.mark.skipif(not FILE.exists(), reason=f"{FILE} is not there: it is kept beside the project")

TOPICS = {1, 2, 4, 5, 6, 7, 10}
CHECKS = [c for c in json.loads(FILE.read_text(encoding="utf-8")) if c["topic"] in TOPICS] if FILE.exists() else []

LEFT_OUT = {
    "1.icc.d50": "what goes wrong when luminance is taken from a D50 profile space, which our code never does",
    "4.nay": "Nayatani's model is not used: its published variants disagree in sign",
    "4.hell": "Hellwig's model is not used: it is not on the L* scale",
    "4.cam16grey": "CIECAM16 is not used: its J is not L*",
    "5.barten": "contrast at threshold is not used: how far a line stands clear is told, not whether it is seen",
    "5.ms": "the Mannos-Sakrison curve is not used: S-CIELAB's kernel is",
    "6.flip": "the chance that two pieces are in the other order is not told; the guard band is 1.645 sigma",
}

METRES = np.array([1000.0, 2000, 3000, 5000, 8000])  # in mm
CYCLES = np.array([1, 4, 10.9942, 16.4913])  # a degree
TWELVE = (20.0, 24, 31, 37, 45, 52, 58, 66, 71, 77, 84, 92)
TAGGED_RED = np.array([200, 30, 40]) / 255
PRIMARIES = {"red": (1, 0, 0), "green": (0, 1, 0), "blue": (0, 0, 1), "yellow": (1, 1, 0), "magenta": (1, 0, 1)}


def last(check_id):
    """The number after the second dot of an id: 18.0 of 1.LY.18.0."""
    return float(check_id.split(".", 2)[2])


def grey(code):
    return np.full(3, code / 255)


def hex_luminance(text):
    return luminance(srgb1_to_linear([int(text[i : i + 2], 16) / 255 for i in (1, 3, 5)]))


def lightest(values, groups):
    """The lightest value of each natural group."""
    assigned = natural_breaks(values, groups).assign(values)
    return [max(v for v, g in zip(values, assigned, strict=True) if g == name) for name in assigned.categories]


def pair_of_18_and_36():
    got = access_yardsticks(0.18, 0.36)
    return [got.lightness_step, got.michelson, got.weber, weber_to_background(0.36, 0.18), got.w3c_ratio]


def lightness_gained(gain, lightness):
    return luminance_to_lightness(gain * lightness_to_luminance(lightness))


def brightened(stops):
    return luminance_to_lightness(0.18 * 2**stops) - luminance_to_lightness(0.18)


def exposure_error():
    lifted = (lightness_gained(1.1, 60) + 16) / (60 + 16)
    return [lifted, lightness_difference(lightness_gained(1.1, 60), lightness_gained(1.1, 40))]


def tilted_card():
    gain = cos(radians(45 - 5)) / cos(radians(45))
    return [gain, lightness_gained(1 / gain, 50) - 50]


def evenly_spread_fits():
    values = np.linspace(0, 1, 3001)
    return [goodness_of_variance_fit(values, natural_breaks(values, groups)) for groups in (2, 3, 5)]


def weakest_of_twelve(order):
    """Three stacks of four from the twelve values of SCIENCE, paragraph 10."""
    pile = pd.DataFrame({"swatch_id": [f"p{x}" for x in TWELVE], "lightness": TWELVE})
    return choose_stacks(pile, layers=4, blocks=3, order=order).worst_step


# By an id, or by what a family of ids begins with: how our code answers it.
ANSWERS = {
    "1.srgb.": lambda i: srgb1_to_linear(last(i) / 255),
    "1.L.": lambda i: srgb1_to_lightness(grey(last(i))),
    "1.prim.": lambda i: srgb1_to_lightness(PRIMARIES[i.split(".")[2]]),
    "1.row.p3": lambda i: DISPLAY_P3.luminance_weights,
    "1.row.a98": lambda i: ADOBE_RGB.luminance_weights,
    "1.tag.p3": lambda i: srgb1_to_lightness(TAGGED_RED, DISPLAY_P3),
    "1.tag.a98": lambda i: srgb1_to_lightness(TAGGED_RED, ADOBE_RGB),
    "1.LY.": lambda i: luminance_to_lightness(last(i) / 100),
    "1.YL.": lambda i: 100 * lightness_to_luminance(last(i)),
    "1.D1535.": lambda i: 100 * munsell_value_to_luminance(last(i)),
    "1.VY.": lambda i: luminance_to_munsell_value(last(i) / 100),
    "2.sharma34": lambda i: [ciede2000(a, b) for a, b, _ in gold.CIEDE2000],
    "2.wcag": lambda i: w3c_ratio(1, hex_luminance(i.removeprefix("2.wcag"))),
    "2.bs.7": lambda i: bowman_sapolinski(0.20, [0.0741935, 0.4052632]),
    "2.set.18.36": lambda i: pair_of_18_and_36(),
    "2.de00.grey20": lambda i: [ciede2000([low, 0, 0], [low + 20, 0, 0]) for low in (10, 40, 70)],
    "2.iso": lambda i: ciede2000([50, 60, 40], [50, -45, 30]),
    "4.fp": lambda i: apparent_lightness_fairchild(50, 50, [0, 90, 180, 270]),
    "4.eal": lambda i: apparent_lightness_high(50, 50, [0, 90, 180, 270]),
    "4.eal.doc": lambda i: apparent_lightness_high(55.63, 66.77, 285.23),
    "5.va": lambda i: 60 * visual_angle(25.4 / 16, METRES[:4]),
    "5.f": lambda i: 1 / (2 * visual_angle(25.4 / 16, METRES[:4])),
    "5.mtf.lum": lambda i: kernel_mtf(LUMINANCE_KERNEL, CYCLES),
    "5.mtf.rg": lambda i: kernel_mtf(RED_GREEN_KERNEL, CYCLES),
    "5.mtf.by": lambda i: kernel_mtf(BLUE_YELLOW_KERNEL, CYCLES),
    "5.line": lambda i: line_residual(25.4 / 16, METRES),
    "6.jenks12": lambda i: [min(gold.TWELVE[0]), *lightest(gold.TWELVE[0], 3)],
    "6.gvf12": lambda i: goodness_of_variance_fit(gold.TWELVE[0], natural_breaks(gold.TWELVE[0], 3)),
    "6.calemp": lambda i: lightest(gold.COUNTIES[0], 5),
    "6.teach": lambda i: [min(gold.PILE[0]), *lightest(gold.PILE[0], 3)],
    "6.otsu": lambda i: lightest(gold.PILE[0], 3)[:-1],
    "6.gvf.unif": lambda i: evenly_spread_fits(),
    "6.memb": lambda i: fixed_breaks().membership([38], 2).to_numpy()[0, :2],
    "7.rpcc": lambda i: root_polynomial_terms([0.17224810, 0.09170660, 0.06416938]),
    "7.gain": lambda i: exposure_error(),
    "7.stop": lambda i: [brightened(stops) for stops in (1 / 3, 0.5, 1)],
    "7.tilt": lambda i: tilted_card(),
    "10.mono": lambda i: weakest_of_twelve("stepped"),
    "10.alt": lambda i: weakest_of_twelve("alternating"),
}


def answer_to(check_id):
    """The key of ANSWERS for an id: the id itself, or what it begins with where it ends in a number or a name."""
    if check_id in ANSWERS:
        return check_id
    families = [start for start in ANSWERS if start.endswith((".", "wcag")) and check_id.startswith(start)]
    return families[0] if families else None


@pytest.mark.parametrize("check", [c for c in CHECKS if c["id"] not in LEFT_OUT], ids=lambda c: c["id"])
def test_our_code_gives_the_reference_number(check):
    """A formula would differ from the one worked out with other libraries; the tolerance stands beside each number."""
    start = answer_to(check["id"])
    assert start is not None, f"{check['id']} is new: answer it or say in LEFT_OUT why not"
    np.testing.assert_allclose(ANSWERS[start](check["id"]), check["expected"], rtol=0, atol=check["tolerance"])


def test_nothing_is_left_out_or_answered_that_is_not_in_the_list():
    """A check would be renamed and its answer never be run again."""
    ids = {check["id"] for check in CHECKS}
    assert set(LEFT_OUT) <= ids
    assert {answer_to(check_id) for check_id in ids - set(LEFT_OUT)} == set(ANSWERS)
