"""
How long a catalogue of 100,000 swatches takes to open, to be asked, to be listed, and to be imported.

    python tests/benchmarks/catalogue.py [--count N] [--json]

The peer of the import is Python's own sqlite3 writing the same rows into one plain table in one transaction, without a
record that can be undone, a second table or a check. One core; wall time.
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
    "-tag=shiny -ground=blue", "added>=2020-01",
)  # fmt: skip


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return wall time and result of one call."""
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


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


def rows_of(folder: Path, count: int) -> list[dict[str, Any]]:
    """Time it all."""
    from contrastkit.keep.catalogue import open_catalogue
    from contrastkit.keep.exchange import apply, preview

    some = pile(count)
    some.to_csv(folder / "pile.csv", index=False)
    peer, _ = timed(lambda: plain(folder, some))
    place = folder / "pile.sqlite"
    with open_catalogue(place, who="benchmark") as catalogue:
        looked, seen = timed(lambda: preview(catalogue, folder / "pile.csv"))
        applied, _ = timed(lambda: apply(catalogue, seen))
    took = looked + applied
    rows = [{"what": f"import: {count / took:,.0f} rows a second, {took / peer:.0f} × the peer's time",
             "seconds": took, "asked": count / 20_000}]
    opened, catalogue = timed(lambda: open_catalogue(place, who="benchmark"))
    rows.append({"what": "open", "seconds": opened, "asked": 0.2})
    for words in FILTERS:
        seconds, page = timed(lambda words=words: catalogue.page(words))
        rows.append({"what": f"{words}: {page.total:,} pieces", "seconds": seconds, "asked": 0.1})
    for what, offset, sort in (("first page", 0, "lightness"), ("last page", count - 50, "-name")):
        seconds, _ = timed(lambda offset=offset, sort=sort: catalogue.page(offset=offset, sort=sort))
        rows.append({"what": what, "seconds": seconds, "asked": 0.1})
    seconds, _ = timed(catalogue.undo)
    rows.append({"what": "undo the import", "seconds": seconds, "asked": None})
    catalogue.store.close()
    return rows


def main() -> None:
    """Time it and print the table."""
    parser = argparse.ArgumentParser(description="How long a large catalogue takes.")
    parser.add_argument("--count", type=int, default=100_000, metavar="N", help="swatches (100,000)")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    options = parser.parse_args()
    on_one_core()
    with tempfile.TemporaryDirectory() as folder:
        rows = rows_of(Path(folder), options.count)
    if options.json:
        print(json.dumps(rows, indent=2))
    else:
        asked = ["-" if row["asked"] is None else f"≤ {row['asked']:g} s" for row in rows]
        cells = [[row["what"], wanted, f"{row['seconds']:.3f} s"] for row, wanted in zip(rows, asked, strict=True)]
        print(table(f"A catalogue of {options.count:,} swatches, SQLite", ["what", "asked", "took"], cells))


if __name__ == "__main__":
    main()
