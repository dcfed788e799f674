"""Exit codes, what options have in common, and printing: results to standard output, complaints to standard error."""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, is_dataclass
from typing import Any

from contrastkit.errors import ContrastkitWarning, InvalidInputError

ALL_WELL, NOTHING, BAD_USAGE, SOME_FAILED = 0, 1, 2, 3
STOPPED, NO_READER = 130, 141  # 128 and the signal's number, as shells have it

EXIT_CODES = """\
exit codes:
  0    all is well
  1    nothing could be measured, or the photograph or pile was refused
  2    a command, option, table or place to write to that cannot be right
  3    some photographs could not be measured; the others were
  130  stopped from the keyboard
  141  nobody reads the results any more
"""
CSV_NOTE = """\
  In CSV files, a name that a spreadsheet would take for a formula (it begins with =, +, - or @) is written with an
  apostrophe in front, and read back without it.

"""


def help_with(epilog: str) -> Any:
    return {"epilog": epilog, "formatter_class": argparse.RawDescriptionHelpFormatter, "allow_abbrev": False}


def add_json(command: argparse.ArgumentParser) -> None:
    command.add_argument("--json", action="store_true", help="print one JSON document instead of sentences")


def numbers(count: int | None = None) -> Callable[[str], tuple[float, ...]]:
    def numbers(text: str) -> tuple[float, ...]:
        try:
            values = tuple(float(part) for part in text.split(","))
        except ValueError:
            values = ()
        if not values or not all(map(math.isfinite, values)) or len(values) != (count or len(values)):
            wanted = f"{count} numbers" if count else "numbers"
            raise argparse.ArgumentTypeError(f"it must be {wanted} with commas between and no blanks; got {text!r}")
        return values

    return numbers


def length_in(unit: str) -> Callable[[str], float]:
    def length(text: str) -> float:
        from contrastkit.lengths import parse_length

        try:
            return float(parse_length(text, unit=unit, zero=False))
        except InvalidInputError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return length


def report(options: argparse.Namespace, document: dict[str, Any], lines: Sequence[str]) -> None:
    if options.json:
        print_json(document)
    else:
        print("\n".join(map(plain, lines)))


def print_json(document: dict[str, Any]) -> None:
    utf8 = (sys.stdout.encoding or "").lower().replace("-", "") == "utf8"
    print(json.dumps(_for_json(document), indent=2, ensure_ascii=not utf8, allow_nan=False))


def _for_json(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        value = asdict(value)
    if isinstance(value, dict):
        return {key: _for_json(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_for_json(inner) for inner in value]
    if isinstance(value, float):
        return round(value, 4) if math.isfinite(value) else None
    return _without_surrogates(value) if isinstance(value, str) else value


def _without_surrogates(text: str) -> str:
    """A file's name may hold bytes that are no letters."""
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def say(text: str) -> None:
    """Print a line to standard error, over whatever progress stands there."""
    wipe = f"\r{'':<{terminal_width()}}\r" if sys.stderr.isatty() else ""
    print(wipe + plain(text), file=sys.stderr, flush=True)


def plain(text: str) -> str:
    """One line, nothing in it that a terminal would obey."""
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)


def terminal_width() -> int:
    return max(shutil.get_terminal_size().columns - 1, 20)


def pieces_words(count: int) -> str:
    return f"{count} piece" if count == 1 else f"{count} pieces"


@contextmanager
def plain_warnings() -> Iterator[None]:
    """Our own warnings as sentences; those of other packages are for their makers."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        warnings.simplefilter("always", ContrastkitWarning)
        warnings.showwarning = lambda message, *_, **__: say(str(message))
        yield


def close_quietly() -> None:
    """Let the interpreter flush what nobody reads, or it would complain once more as it ends."""
    with suppress(OSError, ValueError), open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())


def print_anything() -> None:
    """Whatever a name holds can be printed, if not always in its own letters."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
