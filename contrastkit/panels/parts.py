"""
The parts that panels are put together from: buttons, choices, slides, lines, pictures, words.

Each is a native control of the page with a name that a screen reader reads, and each can be used without a page: set
its `value`, or `press()` it, and what it does is done. Text goes to the page as text, never as HTML.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple, TypeGuard

import anywidget
import ipywidgets
import numpy as np
import traitlets
from numpy.typing import NDArray
from PIL import Image as PillowImage

from contrastkit.show import look
from contrastkit.show.crops import cut_out, encoded

_HERE = Path(__file__).parent
_EDGE, _EDGE_ON_DARK = 50.0, 62.0  # L* of the edges of what can be pressed: 3:1 on the page and more


@cache
def style() -> str:
    """Return the style sheet of all parts, its greys named by their L*."""
    text = (_HERE / "parts.css").read_text(encoding="utf-8")
    for name, page, accent, edge in (
        ("LIGHT", look.LIGHT_PAGE, look.ACCENT, _EDGE), ("DARK", look.DARK_PAGE, look.ACCENT_ON_DARK, _EDGE_ON_DARK)
    ):
        tones = {"GROUND": page.ground, "TEXT": page.text, "SECONDARY": page.secondary, "HAIRLINE": page.hairline,
                 "RAISED": page.raised, "EDGE": edge}
        for tone, lightness in tones.items():
            text = text.replace(f"{name}_{tone}", look.grey_hex(lightness))
        text = text.replace(f"{name}_ACCENT", accent)
    for surround, lightness in look.SURROUNDS.items():
        text = text.replace(f"SURROUND_{surround.upper()}", look.grey_hex(lightness))
    return text


@cache
def script(name: str) -> str:
    """Return the module of a page by its file's name, with what all modules share before it."""
    return "".join((_HERE / each).read_text(encoding="utf-8") for each in ("common.js", name))


class Moved(NamedTuple):
    """What a hand moved to, whether it has let go, and the number of the move, to be answered."""

    to: Any
    settled: bool
    number: float


def moved(content: object) -> Moved | None:
    """
    Return the move that a page tells of, as `mover` in common.js sends it; None where it tells of something else.

    >>> moved({"moved": 3, "settled": True, "number": 7})
    Moved(to=3, settled=True, number=7.0)
    """
    if not isinstance(content, dict) or "moved" not in content:
        return None
    number = content.get("number")
    return Moved(content["moved"], bool(content.get("settled")), float(number) if is_number(number) else 0.0)


def is_number(value: object) -> TypeGuard[float]:
    """
    Return whether what a page sent is a number, and a finite one.

    >>> is_number(3), is_number(float("nan")), is_number("3")
    (True, False, False)
    """
    return isinstance(value, int | float) and math.isfinite(value)


class Part(anywidget.AnyWidget):
    """What all parts are: a kind, a label, a value, and what to do when a hand changes it."""

    _esm = script("parts.js")
    kind = traitlets.Unicode("").tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    hint = traitlets.Unicode("").tag(sync=True)
    problem = traitlets.Unicode("").tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)
    settled = traitlets.Bool(True).tag(sync=True)
    value = traitlets.Any(None, allow_none=True).tag(sync=True)

    def __init__(self, kind: str, on_change: Callable[..., object] | None = None, **traits: Any) -> None:
        self._on_change = on_change
        self._quiet = False
        # what the hand set last; a page may send the same, or nonsense
        self._told: tuple[Any, bool] = (traits.get("value"), True)
        super().__init__(kind=kind, **traits)
        self._told = (self.value, True)
        self.observe(self._changed, ["value", "settled"])

    def show(self, value: Any) -> None:
        """Show another value without doing what a hand's change would do."""
        with self._quietly():
            self.value = value

    @contextmanager
    def _quietly(self) -> Any:
        kept, self._quiet = self._quiet, True
        try:
            yield
        finally:
            self._quiet = kept

    def _changed(self, _: object) -> None:
        if (self.value, self.settled) == self._told:
            return
        self._told = (self.value, self.settled)
        if not self._quiet:
            self._tell()

    def _tell(self) -> None:
        if self._on_change is not None:
            self._on_change(self.value)


class Press(Part):
    """
    A button.

    Parameters
    ----------
    label : what it does, a verb first
    on_press : called without arguments
    main : whether it is the one next step of its panel
    hint : more about it
    """

    main = traitlets.Bool(False).tag(sync=True)
    unfolded = traitlets.Bool(None, allow_none=True).tag(sync=True)

    def __init__(
        self, label: str, on_press: Callable[[], object], *, main: bool = False, hint: str = "", disabled: bool = False
    ) -> None:
        super().__init__("press", label=label, main=main, hint=hint, disabled=disabled)
        self._on_press = on_press
        self.on_msg(self._heard)

    def press(self) -> None:
        """Do what the button does."""
        if not self.disabled:
            self._on_press()

    def _heard(self, _: object, content: object, __: object) -> None:
        if isinstance(content, dict) and content.get("pressed"):
            self.press()


class _Of(Part):
    # one of several options; what the page says is held against them
    options: Any = traitlets.List().tag(sync=True)

    def __init__(
        self, kind: str, label: str, options: Iterable[tuple[str, Any]], value: Any,
        on_change: Callable[[Any], object] | None, **traits: Any,
    ) -> None:
        listed = [[words, each] for words, each in options]
        super().__init__(kind, on_change, label=label, options=listed, value=value, **traits)

    @traitlets.validate("value")
    def _one_of_them(self, proposal: Any) -> Any:
        known = [each for _, each in self.options]
        if proposal["value"] in known or not known:
            return proposal["value"]
        return self._told[0] if self._told[0] in known else known[0]

    def offer(self, options: Iterable[tuple[str, Any]], value: Any) -> None:
        """Show other options, and the value among them, without doing what a hand's change would do."""
        with self._quietly(), self.hold_sync():
            self.options = [[words, each] for words, each in options]
            self.value = value


class Choice(_Of):
    """A few options of which one holds, all in view; options are (words, plain value)."""

    def __init__(
        self, label: str, options: Iterable[tuple[str, Any]], value: Any,
        on_change: Callable[[Any], object] | None = None,
    ) -> None:
        super().__init__("choice", label, options, value, on_change)


class Pick(_Of):
    """One of many options, folded away; options are (words, plain value)."""

    def __init__(
        self, label: str, options: Iterable[tuple[str, Any]], value: Any,
        on_change: Callable[[Any], object] | None = None, *, hint: str = "",
    ) -> None:
        super().__init__("pick", label, options, value, on_change, hint=hint)


class Slide(Part):
    """
    A number on a slide.

    Parameters
    ----------
    label : what it is
    low, high, step : its range
    value : where it stands
    on_change : called with the value, and whether the hand has let go
    words : the value in words, with its unit
    marks : values that are marked on it
    """

    low = traitlets.Float(0.0).tag(sync=True)
    high = traitlets.Float(1.0).tag(sync=True)
    step = traitlets.Float(0.1).tag(sync=True)
    marks: Any = traitlets.List().tag(sync=True)
    words = traitlets.Unicode("").tag(sync=True)
    answered = traitlets.Float(0.0).tag(sync=True)

    def __init__(
        self, label: str, low: float, high: float, step: float, value: float,
        on_change: Callable[[float, bool], object] | None = None, *,
        words: Callable[[float], str] = "{:g}".format, marks: Sequence[float] = (),
    ) -> None:
        self._words_of = words
        self._on_slide = on_change
        super().__init__(
            "slide", None, label=label, low=low, high=high, step=step, value=value, marks=list(marks),
            words=words(value),
        )
        self.on_msg(self._heard)

    def _heard(self, _: object, content: object, __: object) -> None:
        move = moved(content)
        if move is None:
            return
        if is_number(move.to):
            with self.hold_trait_notifications():
                self.value, self.settled = move.to, move.settled
        self.answered = move.number

    @traitlets.validate("value")
    def _within(self, proposal: Any) -> float:
        value = proposal["value"]
        return float(min(max(value if is_number(value) else self._told[0], self.low), self.high))

    def _changed(self, change: object) -> None:
        self.words = self._words_of(self.value)
        super()._changed(change)

    def _tell(self) -> None:
        if self._on_slide is not None:
            self._on_slide(self.value, self.settled)


class Line(Part):
    """A line of text, or a few with `rows`; `problem` is the sentence beside it that says what was wrong."""

    value = traitlets.Unicode("").tag(sync=True)
    rows = traitlets.Int(1).tag(sync=True)

    def __init__(
        self, label: str, value: str = "", on_change: Callable[[str], object] | None = None, *, hint: str = "",
        rows: int = 1,
    ) -> None:
        super().__init__("line", on_change, label=label, value=value, hint=hint, rows=rows)


class Tick(Part):
    """A thing that is so or not."""

    value = traitlets.Bool(False).tag(sync=True)

    def __init__(self, label: str, value: bool = False, on_change: Callable[[bool], object] | None = None) -> None:
        super().__init__("tick", on_change, label=label, value=value)


class Picture(Part):
    """A picture with words that say what it shows."""

    data = traitlets.Bytes(b"").tag(sync=True)
    mime = traitlets.Unicode("image/png").tag(sync=True)
    alt = traitlets.Unicode("").tag(sync=True)
    size: Any = traitlets.List([0, 0]).tag(sync=True)

    def __init__(self, alt: str = "") -> None:
        super().__init__("picture", alt=alt)

    def draw(self, image: NDArray[Any] | bytes, alt: str, *, size: tuple[int, int] | None = None) -> None:
        """
        Show another picture.

        Parameters
        ----------
        image : linear RGB (float, 0-1), 8-bit sRGB with or without alpha, or the bytes of a PNG
        alt : what it shows, in words
        size : width and height on the page, pixels; those of the picture where not given
        """
        data = image if isinstance(image, bytes) else as_png(image)
        with self.hold_sync():
            self.size = list(size or (0, 0) if isinstance(image, bytes) else size or image.shape[1::-1])
            self.alt = alt
            self.data = data


class Words(Part):
    """A paragraph, or a heading of a level from 2 to 4."""

    value = traitlets.Unicode("").tag(sync=True)
    level = traitlets.Int(0).tag(sync=True)
    quiet = traitlets.Bool(False).tag(sync=True)

    def __init__(self, value: str = "", *, level: int = 0, quiet: bool = False) -> None:
        super().__init__("words", value=value, level=level, quiet=quiet)


class Said(Part):
    """The last sentence about what was done, read out by screen readers; `problem` says what could not be."""

    value = traitlets.Unicode("").tag(sync=True)

    def __init__(self) -> None:
        super().__init__("said")


class Rows(Part):
    """A table: its heads, and rows of plain cells."""

    head: Any = traitlets.List().tag(sync=True)

    def __init__(self, label: str, head: Sequence[str], rows: Sequence[Sequence[object]] = ()) -> None:
        super().__init__("rows", label=label, head=list(head), value=_cells(rows))

    def fill(self, rows: Sequence[Sequence[object]]) -> None:
        """Show other rows."""
        self.value = _cells(rows)


def _cells(rows: Sequence[Sequence[object]]) -> list[list[str]]:
    return [[str(cell) for cell in row] for row in rows]


class File(Part):
    """A file to take home; it is in view once there is one."""

    data = traitlets.Bytes(b"").tag(sync=True)
    mime = traitlets.Unicode("application/octet-stream").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)

    def __init__(self, label: str) -> None:
        super().__init__("file", label=label)

    def offer(self, data: bytes, name: str, mime: str) -> None:
        """Offer a file; no bytes take the offer back."""
        with self.hold_sync():
            self.name, self.mime, self.data = name, mime, data


class Look(Part):
    """Typeface and colours of the page; one goes with every panel, the first one counts."""

    sheet = traitlets.Unicode("").tag(sync=True)
    regular = traitlets.Bytes(b"").tag(sync=True)
    bold = traitlets.Bytes(b"").tag(sync=True)

    def __init__(self) -> None:
        super().__init__("look", sheet=style(), regular=look.REGULAR.read_bytes(), bold=look.BOLD.read_bytes())


# --- boxes ------------------------------------------------------------------------------------------------------------


def row(*children: ipywidgets.Widget) -> ipywidgets.Box:
    """Return parts side by side, on further lines where there is no room."""
    return _box("ck-row", children)


def column(*children: ipywidgets.Widget) -> ipywidgets.Box:
    """Return parts one below the other."""
    return _box("ck-column", children)


def beside(work: ipywidgets.Widget, controls: ipywidgets.Widget) -> ipywidgets.Box:
    """Return the work with its controls beside it, or below it where there is no room."""
    return _box("ck-beside", (work, controls))


def _box(name: str, children: Sequence[ipywidgets.Widget]) -> ipywidgets.Box:
    box = ipywidgets.Box(list(children))
    box.add_class(name)
    return box


class Folded(ipywidgets.Box):
    """Parts that are folded away under a button with a label."""

    def __init__(self, label: str, *children: ipywidgets.Widget, open: bool = False) -> None:
        self.button = Press(label, self.turn)
        self.inside = column(*children)
        super().__init__([self.button, self.inside])
        self.add_class("ck-fold")
        self._set(open)

    @property
    def is_open(self) -> bool:
        """Whether what is inside is in view."""
        return bool(self.button.unfolded)

    def turn(self) -> None:
        """Open it, or fold it away."""
        self._set(not self.is_open)

    def _set(self, open: bool) -> None:
        self.button.unfolded = open
        self.inside.layout.display = None if open else "none"


def show_if(shown: bool, *parts: ipywidgets.Widget) -> None:
    """Have parts in view or not."""
    for part in parts:
        part.layout.display = None if shown else "none"


# --- pictures ---------------------------------------------------------------------------------------------------------


def as_png(image: NDArray[Any]) -> bytes:
    """
    Return a picture as PNG, quickly: linear RGB (float, 0-1) or 8-bit sRGB with or without alpha.

    >>> as_png(np.zeros((2, 2, 3), np.uint8))[1:4]
    b'PNG'
    """
    pixels = image if image.dtype == np.uint8 else encoded(image)
    file = io.BytesIO()
    PillowImage.fromarray(np.ascontiguousarray(pixels)).save(file, "PNG", compress_level=1)
    return file.getvalue()


def sprites(pictures: Mapping[str, NDArray[np.uint8]], side: int) -> tuple[bytes, dict[str, tuple[int, int]]]:
    """
    Return small pictures on one sheet, so that a page takes them all at once.

    Parameters
    ----------
    pictures : 8-bit sRGB, shape (rows, cols, 3 or 4), by name; each is laid straight and shrunk, in linear light
    side : of each picture's place on the sheet, pixels

    Returns
    -------
    bytes
        The sheet as PNG with alpha.
    dict
        The (x, y) of the top left of each place.

    >>> sheet, places = sprites({"a": np.zeros((8, 8, 4), np.uint8), "b": np.zeros((9, 5, 4), np.uint8)}, 16)
    >>> places
    {'a': (0, 0), 'b': (16, 0)}
    """
    wide = max(1, math.ceil(math.sqrt(len(pictures))))
    tall = max(1, math.ceil(len(pictures) / wide))
    sheet = PillowImage.new("RGBA", (wide * side, tall * side))
    places = {}
    for number, (name, picture) in enumerate(pictures.items()):
        small = PillowImage.fromarray(cut_out(picture, side=side, name=name).pixels)
        x, y = number % wide * side, number // wide * side
        sheet.paste(small, (x + (side - small.width) // 2, y + (side - small.height) // 2))
        places[name] = (x, y)
    file = io.BytesIO()
    sheet.save(file, "PNG", compress_level=1)
    return file.getvalue(), places
