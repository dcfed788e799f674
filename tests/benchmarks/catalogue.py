"""
How long a catalogue of 100,000 swatches takes to open, to be asked, to be listed, and to be imported.

    python tests/benchmarks/catalogue.py [--count N] [--at ADDRESS] [--json]

The peer of the import is Python's own sqlite3 writing the same rows into one plain table in one transaction, without a
record that can be undone, a second table or a check. One core; wall time, and the time of this program's processor,
which other work does not lengthen (of a server at an address, its own is not in it).
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from common import on_one_core, table

SEED = 7300
FILTERS = (
    "medium ground=red side>=3in not used", "dark or light", "lightness=40..70 tag=shiny", 'state="at hand"', "linen",
    "-tag=shiny -ground=blue", "added>=2020-01", "rubbed", "surface=unknown", 'by=""',
    "medium ground=red side>=3in chroma>20 tag=shiny surface=unknown not used",
)  # fmt: skip


Times = tuple[float, float]  # on the wall, and of the processor


def timed(work: Callable[[], Any]) -> tuple[Times, Any]:
    """Return times and result of one call."""
    start, worked = time.perf_counter(), time.process_time()
    result = work()
    return (time.perf_counter() - start, time.process_time() - worked), result


def row(what: str, times: Times, asked: float | None) -> dict[str, Any]:
    """Return a row of the result."""
    return {"what": what, "seconds": times[0], "processor": times[1], "asked": asked}


def pile(count: int) -> Any:
    """Return an invented pile."""
    import numpy as np
    import pandas as pd

    chance = np.random.default_rng(SEED)
    return pd.DataFrame({
        "swatch_id": [f"p{number}" for number in range(count)], "lightness": chance.uniform(8, 96, count),
        "lightness_sigma": chance.uniform(0.3, 2, count), "chroma": chance.uniform(0, 70, count),
        "hue_angle": chance.uniform(0, 360, count), "side": chance.uniform(40, 120, count),
        "ground": chance.choice(["red", "blue linen", "black", "ochre"], count),
        "tags": chance.choice(["", "shiny", "rough"], count), "note": chance.choice(["", "rubbed twice"], count),
    })


def plain(folder: Path, some: Any) -> None:
    """Write the rows as they are into one table."""
    rows = list(some.itertuples(index=False, name=None))
    with sqlite3.connect(folder / "plain.sqlite") as connection:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute(f"CREATE TABLE swatches ({', '.join(some.columns)})")
        connection.executemany(f"INSERT INTO swatches VALUES ({', '.join('?' * len(some.columns))})", rows)
    connection.close()


def rows_of(folder: Path, place: str, count: int) -> list[dict[str, Any]]:
    """Time it all."""
    from contrastkit.keep.catalogue import open_catalogue
    from contrastkit.keep.exchange import apply, preview

    some = pile(count)
    some.to_csv(folder / "pile.csv", index=False)
    peer, _ = timed(lambda: plain(folder, some))
    with open_catalogue(place, who="benchmark") as catalogue:
        looked, seen = timed(lambda: preview(catalogue, folder / "pile.csv"))
        applied, _ = timed(lambda: apply(catalogue, seen))
    both = looked[0] + applied[0], looked[1] + applied[1]
    rows = [
        row(f"import, preview and all: {count / both[1]:,.0f} rows a second of the processor", both, count / 20_000),
        row(f"import, once seen: {count / applied[1]:,.0f}, {applied[1] / peer[1]:.0f} × the peer's time", applied,
            count / 20_000),
    ]  # fmt: skip
    opened, catalogue = timed(lambda: open_catalogue(place, who="benchmark"))
    rows.append(row("open", opened, 0.2))
    rows.append(row("the first list of a program, which loads scipy", timed(catalogue.page)[0], None))
    for words in FILTERS:
        times, page = timed(lambda words=words: catalogue.page(words))
        rows.append(row(f"{words}: {page.total:,} pieces", times, 0.1))
    for what, offset, sort in (("first page", 0, "lightness"), ("last page", count - 50, "-name")):
        times, _ = timed(lambda offset=offset, sort=sort: catalogue.page(offset=offset, sort=sort))
        rows.append(row(what, times, 0.1))
    for what, again in (("undo the import", catalogue.undo), ("redo it", catalogue.redo), ("check", catalogue.check)):
        rows.append(row(what, timed(again)[0], None))
    catalogue.store.close()
    return rows


def main() -> None:
    """Time it and print the table."""
    parser = argparse.ArgumentParser(description="How long a large catalogue takes.")
    parser.add_argument("--count", type=int, default=100_000, metavar="N", help="swatches (100,000)")
    parser.add_argument("--at", metavar="ADDRESS", help="an empty schema of PostgreSQL (a new file)")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    options = parser.parse_args()
    on_one_core()
    with tempfile.TemporaryDirectory() as folder:
        rows = rows_of(Path(folder), options.at or str(Path(folder) / "pile.sqlite"), options.count)
    if options.json:
        print(json.dumps(rows, indent=2))
    else:
        asked = ["-" if row["asked"] is None else f"≤ {row['asked']:g} s" for row in rows]
        cells = [[row["what"], wanted, f"{row['seconds']:.3f} s", f"{row['processor']:.3f} s"]
                 for row, wanted in zip(rows, asked, strict=True)]  # fmt: skip
        kind = "PostgreSQL" if options.at else "SQLite"
        heads = ["what", "asked", "took", "of the processor"]
        print(table(f"A catalogue of {options.count:,} swatches, {kind}", heads, cells))


if __name__ == "__main__":
    main()
