"""The fuzzer's seeds, and files made of them by chance, are read and measured, or refused in a sentence."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

FUZZ = Path(__file__).parent / "fuzz"
SEEDS = sorted((FUZZ / "seeds").iterdir())


def faults(*options):
    """What came out that must not, and how many files were tried; in a process of its own, which may die of it."""
    done = subprocess.run(
        [sys.executable, str(FUZZ / "fuzz_target.py"), *options, *map(str, SEEDS)], capture_output=True, text=True,
        timeout=900, check=False,
    )
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    wrong = [line for line in lines if "fault" in line]
    if done.returncode not in (0, 1):
        wrong.append({"fault": f"ended with {done.returncode}", "after": lines[-1:], "said": done.stderr[-500:]})
    return wrong, sum("start" in line for line in lines)


def test_every_seed_is_measured_or_refused_within_the_limits():
    """A file that once broke it would break it again. Five seconds, a gigabyte, one sentence."""
    assert faults() == ([], len(SEEDS))


def test_files_spoilt_by_chance_are_measured_or_refused_within_the_limits():
    """The same two hundred each time."""
    assert faults("--spoil", "200") == ([], 200)


@pytest.mark.slow
@pytest.mark.skipif(not os.environ.get("CONTRASTKIT_SLOW"), reason="set CONTRASTKIT_SLOW=1 for 10,000 files")
def test_many_more_spoilt_files():
    """Two minutes of it."""
    assert faults("--spoil", "10000", "--seed", "7") == ([], 10_000)
