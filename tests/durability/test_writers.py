"""Eight programs writing at once lose no update, and nobody is told of locks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from catalogues import add, rows

from contrastkit.keep.store import check, open_store

pytest_plugins = ["postgres"]

WRITERS = 8
PLAIN, SLOW = 3.0, 60.0  # seconds


def at_work(where: str, seconds: float) -> tuple[list[dict[str, float]], dict[str, float]]:
    """Return what eight writers and a reader said at the end."""
    arguments = [sys.executable, str(Path(__file__).with_name("worker.py"))]
    programs = [
        subprocess.Popen(arguments, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for _ in range(WRITERS + 1)
    ]
    jobs = [{"job": "count", "number": number} for number in range(WRITERS)] + [{"job": "look"}]
    said = []
    for program, job in zip(programs, jobs, strict=True):
        print(json.dumps(job | {"where": where, "seconds": seconds}), file=program.stdin, flush=True)
    for program in programs:
        out, err = program.communicate(timeout=seconds + 120)
        assert err == ""
        lines = [json.loads(line) for line in out.splitlines()]
        said += [line for line in lines if "child" not in line and "ended" not in line]
    return said[:-1], said[-1]


def count_together(where: str, seconds: float) -> None:
    with open_store(where) as store:
        add(store, "counter")
        with store.writing("Begin to count") as action:
            action.update("swatches", 1, {"note": "0"})
    writers, reader = at_work(where, seconds)
    assert not [line for line in [*writers, reader] if "error" in line]
    assert len(writers) == WRITERS
    done = sum(line["done"] for line in writers)
    with open_store(where) as store:
        pieces = rows(store, "swatches")
        assert int(str(pieces[0]["note"])) == done
        assert len(pieces) == done + 1
        assert len(rows(store, "actions")) == done + 2
        assert check(store) == []
    assert all(line["done"] > 0 for line in writers)
    assert reader["looks"] > 0
    longest, fewest = max(line["longest"] for line in writers), min(line["done"] for line in writers)
    print(f"{done} actions in {seconds:g} s, at least {fewest} each; the longest took {longest:.2f} s")


def test_eight_writers_lose_no_update(where):
    """In a class of eight, somebody's note would be overwritten by a neighbour's, or refused."""
    count_together(where, PLAIN)


@pytest.mark.slow
@pytest.mark.skipif(not os.environ.get("CONTRASTKIT_SLOW"), reason="set CONTRASTKIT_SLOW=1 for a whole minute")
def test_eight_writers_lose_no_update_in_a_minute(where):
    """What happens once in ten thousand actions would be missed: a log that is full, a writer that starves."""
    count_together(where, SLOW)
