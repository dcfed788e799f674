"""
The program that is killed: it changes a catalogue, and says what it is about to do and, after that is kept, that it is.

It is told on its input, a job a line, and forks for each, so that the killing does not wait for imports.
"""

from __future__ import annotations

import json
import os
import random
import sys
import time
from pathlib import Path
from typing import Any

from sqlalchemy import func, select

sys.path.insert(0, str(Path(__file__).parents[1]))

from catalogues import NOW, PICTURE, measure, piece

from contrastkit.keep import schema
from contrastkit.keep.actions import redo, undo
from contrastkit.keep.store import Store, open_store

COUNTER = "counter"


def say(**what: Any) -> None:
    """Write a line whole, so that a kill cannot cut it in two."""
    os.write(1, json.dumps(what).encode() + b"\n")


def work(where: str, seed: int, folder: str) -> None:
    """Do one thing after another until killed; all of it follows from the seed and the rows that are there."""
    chance = random.Random(seed)
    with open_store(where) as store:
        say(kept="open")
        for step in range(10**6):
            kind = chance.choices(list(STEPS), WEIGHTS)[0]
            STEPS[kind](store, chance, f"{seed}-{step}", folder)


def _add(store: Store, chance: random.Random, step: str, folder: str) -> None:
    say(about="add", names=[step])
    with store.writing(f"Add {step}", who="me") as action:
        (swatch,) = action.insert("swatches", [piece(step, note="new")])
        number = measure(action, swatch, chance.random())
        action.insert("crops", [{"measurement": number, "png": PICTURE}])
        action.insert("tags", [{"swatch": swatch, "tag": "new"}, {"swatch": swatch, "tag": "🌿"}])
    say(kept="add")


def _import(store: Store, chance: random.Random, step: str, folder: str) -> None:
    count = chance.randint(200, 1200)
    say(about="import", step=step, count=count)
    with store.writing(f"Import {count}", who="me") as action:
        numbers = action.reserve("measurements", count)
        rows = [piece(f"{step}/{i}", note="new", measurement=n, lightness=i % 700 / 7) for i, n in enumerate(numbers)]
        keys = action.insert("swatches", rows)
        pairs = zip(numbers, keys, rows, strict=True)
        action.insert(
            "measurements",
            [{"measurement": n, "swatch": k, "measured": NOW, "lightness": r["lightness"]} for n, k, r in pairs],
        )
    say(kept="import")


def _note(store: Store, chance: random.Random, step: str, folder: str) -> None:
    with store.reading() as connection:
        there = connection.execute(select(schema.swatches.c.swatch, schema.swatches.c.name).limit(50)).all()
    if there:
        some = dict(chance.sample([tuple(row) for row in there], min(5, len(there))))
        say(about="note", names=list(some.values()), note=step)
        with store.writing("Note", who="me") as action:
            action.update_all("swatches", {key: {"note": step} for key in some})
        say(kept="note")


def _undo(store: Store, chance: random.Random, step: str, folder: str) -> None:
    say(about="undo")
    say(kept="undo", done=len(undo(store)))


def _redo(store: Store, chance: random.Random, step: str, folder: str) -> None:
    say(about="redo")
    say(kept="redo", done=len(redo(store)))


def _backup(store: Store, chance: random.Random, step: str, folder: str) -> None:
    say(about="backup")
    say(kept="backup", path=str(store.backup(Path(folder) / f"backup-{step}.sqlite")))


STEPS = {"add": _add, "import": _import, "note": _note, "undo": _undo, "redo": _redo, "backup": _backup}
WEIGHTS = [8, 2, 6, 4, 2, 1]


def count(where: str, seconds: float, number: int) -> None:
    """Add one to a number in a note, and one piece, as often as there is time: what eight do at once."""
    done, longest, end = 0, 0.0, time.monotonic() + seconds
    with open_store(where) as store:
        while time.monotonic() < end:
            began = time.monotonic()
            with store.writing("Count", who=f"{number}") as action:
                query = select(schema.swatches.c.swatch, schema.swatches.c.note).filter_by(name=COUNTER)
                swatch, note = action.connection.execute(query).one()
                action.update("swatches", swatch, {"note": str(int(note) + 1)})
                action.insert("swatches", [piece(f"{number}-{done}")])
            done, longest = done + 1, max(longest, time.monotonic() - began)
    say(done=done, longest=longest)


def look(where: str, seconds: float) -> None:
    """Compare the number with the pieces as often as there is time: both are of one moment, or a snapshot is none."""
    looks, end = 0, time.monotonic() + seconds
    with open_store(where) as store:
        while time.monotonic() < end:
            with store.reading() as connection:
                query = select(schema.swatches.c.note).filter_by(name=COUNTER)
                counted = int(connection.execute(query).scalar_one())
                pieces = connection.execute(select(func.count()).select_from(schema.swatches)).scalar_one() - 1
            assert counted == pieces
            looks += 1
            time.sleep(0.02)  # leave the machine to the writers
    say(looks=looks)


JOBS = {"work": work, "count": count, "look": look}


def main() -> None:
    """Do each job in a child of its own, and say when it has ended."""
    for line in sys.stdin:
        job = json.loads(line)
        child = os.fork()
        if child == 0:
            try:
                JOBS[job.pop("job")](**job)
            except BaseException as error:
                say(error=f"{type(error).__name__}: {error}")
            os._exit(0)
        say(child=child)
        os.waitpid(child, 0)
        say(ended=child)


if __name__ == "__main__":
    main()
