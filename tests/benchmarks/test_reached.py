"""On a few rendered scenes the package is about as right as the benchmark says, and righter than its peer."""

from __future__ import annotations

import os

import pytest
from accuracy import KINDS, SEED, TOGETHER, run

SCENES = 6


@pytest.mark.slow
@pytest.mark.skipif(not os.environ.get("CONTRASTKIT_SLOW"), reason="takes a minute; set CONTRASTKIT_SLOW=1")
@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind.name in TOGETHER], ids=lambda kind: kind.name)
def test_a_few_scenes_come_out_as_measured(kind):
    """A change that spoils finding, calibrating or sigma must not go unseen until someone runs the benchmark.

    Limits are looser than what is asked of thirty scenes: six hold about a hundred pieces, so one is a per cent.
    """
    ours, peers = (tally.numbers() for tally in run(kind, SCENES, SEED))

    assert ours["refused"] == 0
    assert ours["found"] >= 0.95
    assert ours["extras"] <= 0.05
    assert ours["median"] <= (0.7 if kind.name == "card" else 1.0)
    assert ours["p95"] <= 3.0
    assert ours["within_2_sigma"] >= 0.88
    assert ours["found"] > peers["found"]
    assert ours["median"] < peers["median"]
