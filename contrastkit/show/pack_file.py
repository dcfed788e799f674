"""
A class pack as it is written: all that a class gets, in one TOML file, with the teacher's own heading.

    heading = "Values in cloth, Tuesday evenings"
    paper = "A4"                          # or Letter
    date = 2026-11-25                     # at the foot of every page; today, if not given
    learners = ["Fennel", "Sorrel"]       # their names, or how many they are
    pieces = 12                           # that each learner makes
    pile = "photos"                       # photographs and folders of them, a table, or "pile", the catalogue
    only = "not used not lost"            # which pieces of a catalogue
    handouts = "all"                      # or a list of kinds
    charts = "all"                        # or a list of teaching charts
    plan = "plan.toml"                    # a plan of blocks to hand out
    orders = "orders.csv"                 # what learners sorted by eye, for the results

    [grey-scale]
    steps = 9                             # 5, 9 or 11

    [[exercise]]                          # one for each exercise; its key comes by itself
    count = 12
    level = "far apart"                   # or "vivid"
    seed = 1

    [[values]]                            # one for each value study, of a photograph, a swatch or a stack
    stack = ["a", "b", "c"]               # bottom first; or photo = "...", or swatch = "..."
    values = 3                            # 2, 3, 5 or 9
    method = "fixed"                      # or "natural", or "named"

Files are named from the folder that the pack lies in. With a heading and a pile alone, all is made that the pile
allows: the most patterned piece and the strongest stack to colour in, one exercise of pieces far apart, and one of
vivid pieces where it has some.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from contrastkit.compose.exercise import LEVELS, MOST_SEED
from contrastkit.compose.toml_parts import Part, TomlKind, brief, near_words, read_toml
from contrastkit.errors import InvalidInputError
from contrastkit.keep.files import StrPath
from contrastkit.show.gathered import AT_HAND
from contrastkit.show.handout_kinds import HANDOUTS, check_heading
from contrastkit.show.handouts import STEPS, PageLook
from contrastkit.show.lessons import LESSONS
from contrastkit.show.order_file import MOST_LETTERS
from contrastkit.show.page import PAPERS
from contrastkit.show.studies import METHODS, VALUES
from contrastkit.show.words import listed

MOST_LEARNERS = 200
_ALL = "all"
_KIND = TomlKind("A class pack", "the class pack", {
    "the class pack": ("heading", "paper", "date", "learners", "pieces", "pile", "only", "handouts", "charts", "plan",
                       "orders", "grey-scale", "exercise", "values"),
    "grey-scale": ("steps",),
    "exercise": ("count", "level", "seed"),
    "values": ("photo", "swatch", "stack", "values", "method"),
})  # fmt: skip


@dataclass(frozen=True)
class ClassPack:
    """
    What a class pack says; what it says nothing of is None, or empty.

    Attributes
    ----------
    heading, paper, made : on every page; the date is today's, if not given
    learners, names : how many, and their names, where they are given
    pieces : that each learner makes
    pile, only : where the pile is, and which pieces of a catalogue
    handouts, charts : the kinds wanted
    steps : of the grey scale
    exercises, studies : what is said about each, as `handout_pages` takes it
    plan, orders : files
    """

    heading: str
    paper: str = "A4"
    made: datetime.date | None = None
    learners: int = 12
    names: tuple[str, ...] = ()
    pieces: int = 12
    pile: tuple[StrPath, ...] = ()
    only: str = AT_HAND
    handouts: tuple[str, ...] = tuple(HANDOUTS)
    charts: tuple[str, ...] = tuple(LESSONS)
    steps: int = 9
    exercises: tuple[dict[str, Any], ...] = ()
    studies: tuple[dict[str, Any], ...] = ()
    plan: Path | None = None
    orders: Path | None = None

    @property
    def look(self) -> PageLook:
        """Return what all pages have in common."""
        return PageLook(self.heading, self.paper, self.made)


def read_pack(path: StrPath) -> ClassPack:
    """
    Return the class pack in a TOML file; what can stand in it is shown at the top of this module.

    Raises
    ------
    InvalidInputError
        The file cannot be read, a key is not known or missing, or what it says cannot be right; the message names the
        place.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "class.toml"
    ...     _ = file.write_text('heading = "Tuesday class"\\nlearners = 8')
    ...     read_pack(file).learners
    8
    """
    file = Path(path)
    top, folder = read_toml(file, _KIND), file.parent
    names = _names(top)
    return ClassPack(
        heading=_heading(top), paper=top.choice("paper", tuple(PAPERS), default="A4"), made=_date(top),
        learners=len(names) or top.whole("learners", MOST_LEARNERS, default=12), names=names,
        pieces=top.whole("pieces", 500, default=12), pile=_places(top, folder), only=top.text("only", "") or AT_HAND,
        handouts=_kinds(top, "handouts", tuple(HANDOUTS)), charts=_kinds(top, "charts", tuple(LESSONS)),
        steps=_steps(top.part("grey-scale")), exercises=tuple(map(_exercise, top.parts("exercise", "exercise"))),
        studies=tuple(_study(each, folder) for each in top.parts("values", "study")),
        plan=_file(top, "plan", folder), orders=_file(top, "orders", folder),
    )  # fmt: skip


def _heading(top: Part) -> str:
    if not top.text("heading", ""):
        raise top.error('heading must be there, as text such as "Tuesday class"; it is missing. Add it.')
    try:
        return check_heading(top.text("heading", ""))
    except InvalidInputError as error:
        raise top.error(str(error)) from error


def _date(top: Part) -> datetime.date | None:
    value = top.entries.get("date")
    if isinstance(value, datetime.datetime):
        return value.date()
    if value is None or isinstance(value, datetime.date):
        return value
    try:
        return datetime.date.fromisoformat(value if isinstance(value, str) else "")
    except ValueError as error:
        raise top.error(f"date must be a date such as 2026-11-25; got {brief(value)}. Correct it.") from error


def _names(top: Part) -> tuple[str, ...]:
    value = top.entries.get("learners")
    if not isinstance(value, list):
        return ()
    names = tuple(" ".join(name.split()) for name in value if isinstance(name, str))
    if len(names) != len(value) or not 1 <= len(names) <= MOST_LEARNERS or not all(names):
        raise top.error(
            f"learners must be a number, or a list of 1 to {MOST_LEARNERS} names; got {brief(value)}. Correct it."
        )
    for name in names:
        if len(name) > MOST_LETTERS:
            raise top.error(f"a learner's name must have {MOST_LETTERS} letters or fewer; got {len(name):,}. "
                            "Shorten it.")
        if names.count(name) > 1:
            raise top.error(f"each learner must have a name of their own; got {name!r} twice. Add an initial.")
    return names


def _texts(part: Part, key: str) -> tuple[str, ...]:
    """A text, or a list of texts."""
    value = part.entries.get(key, [])
    texts = [value] if isinstance(value, str) else value
    if not isinstance(texts, list) or not all(isinstance(text, str) and text.strip() for text in texts):
        raise part.error(f"{key} must be text, or a list of texts; got {brief(value)}. Put each in quotes.")
    return tuple(texts)


def _places(top: Part, folder: Path) -> tuple[StrPath, ...]:
    """Where the pile is, from the folder of the pack; the address of a catalogue stays as it is."""
    places = _texts(top, "pile")
    if any("\0" in place for place in places):
        raise top.error(f"pile must name files or folders; got {brief(places)}. Correct the name.")
    return tuple(place if "://" in place else folder / place for place in places)


def _file(part: Part, key: str, folder: Path) -> Path | None:
    name = part.text(key, "")
    if not name:
        return None
    if "\0" in name or not (folder / name).is_file():
        raise part.error(f"{key} must name a file beside the pack; there is none at {brief(name)}. Correct the name.")
    return folder / name


def _kinds(top: Part, key: str, known: tuple[str, ...]) -> tuple[str, ...]:
    wanted = _texts(top, key) if key in top.entries else (_ALL,)
    if wanted == (_ALL,):
        return known
    for name in wanted:
        if name not in known:
            raise top.error(f"{key} must be {_ALL!r} or a list of kinds; got {brief(name)}, {near_words(name, known)}.")
    return tuple(name for name in known if name in wanted)


def _one_of(part: Part, key: str, allowed: tuple[int, ...]) -> int:
    value = part.entries[key]
    if isinstance(value, bool) or value not in allowed:
        words = f"{', '.join(map(str, allowed[:-1]))} or {allowed[-1]}"
        raise part.error(f"{key} must be {words}; got {brief(value)}. Write one of these.")
    return int(value)


def _steps(part: Part) -> int:
    return _one_of(part, "steps", STEPS) if "steps" in part.entries else 9


def _exercise(part: Part) -> dict[str, Any]:
    count = {"count": part.whole("count", 40, default=12)} if "count" in part.entries else {}
    level = part.choice("level", LEVELS, default=LEVELS[0])
    return count | {"level": level, "seed": part.whole("seed", MOST_SEED, default=1)}


def _study(part: Part, folder: Path) -> dict[str, Any]:
    subject = [key for key in ("photo", "swatch", "stack") if key in part.entries]
    if len(subject) > 1:
        raise part.error(f"a study must be of one thing; got {listed(subject)}. Leave out all but one.")
    said: dict[str, Any] = {"method": part.choice("method", METHODS, default="fixed")}
    if "values" in part.entries:
        said["values"] = _one_of(part, "values", VALUES)
    if "photo" in part.entries:
        said["photo"] = _file(part, "photo", folder)
    if "swatch" in part.entries:
        said["swatch"] = part.text("swatch", "")
    if "stack" in part.entries:
        said["stack"] = _texts(part, "stack")
    return said
