"""
How soon a page can be used: from the command to the address, and from the address to all panels drawn, on the demo
pile, in the system's chromium; the first page after the command, and each page after it.

    python tests/benchmarks/pages.py [--json]

Wall time: whoever waits, waits for all of it. A page counts as usable once its last part has come and 0.2 s have passed
in which nothing more did. Repeat it on a quiet computer; on a busy one it measures the neighbours.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from common import ROOT, table

sys.path.insert(0, str(ROOT / "tests"))

from demo import keep_demo  # noqa: E402
from served import served  # noqa: E402

from contrastkit.panels.serving import PAGES  # noqa: E402

ASKED = 5.0  # seconds


def usable_after(browser: Any, address: str) -> float:
    """Return the seconds from the address to a page that can be used, in a window that has nothing stored."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    start = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.locator("html[data-ready=true]").wait_for(state="attached", timeout=60_000)
    took = time.perf_counter() - start
    page.close(run_before_unload=True)
    context.close()
    return took


def timed(browser: Any, folder: Path) -> dict[str, float]:
    """Return the seconds of each thing that is waited for."""
    start = time.perf_counter()
    with served("open", "--no-browser", "--pile", "pile.sqlite", folder=folder) as server:
        took = {"from the command to the address": time.perf_counter() - start}
        took["whole job, the first page"] = usable_after(browser, server.address)
        for name, words in PAGES.items():
            took[words.lower()] = usable_after(browser, f"{server.origin}/{name}?token={server.token}")
    return took


def main() -> None:
    """Time it and print it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        keep_demo(Path(name) / "pile.sqlite")
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        took = timed(browser, Path(name))
        browser.close()
    if options.json:
        print(json.dumps({"seconds": took, "asked": ASKED}, indent=2))
        return
    rows = [(what, "" if "command" in what else f"≤ {ASKED:g} s", f"{seconds:.1f} s") for what, seconds in took.items()]
    print(table("Pages on the demo pile, wall time", ("", "asked", "took"), rows))


if __name__ == "__main__":
    main()
