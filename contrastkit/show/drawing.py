"""
A picture as a list of marks, before anyone decides whether it becomes a chart or part of a page.

Lengths are in any one unit (millimetres in charts, pixels on pages); (0, 0) is the bottom left corner, as in
everything we sort from dark to light. A tone is an L*, or the name of a part of the page: "text", "secondary",
"hairline", "ground" or "raised", so that the same drawing suits a light page and a dark one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from contrastkit.show.look import Page, group_bars

Tone = float | str


@dataclass(frozen=True)
class Words:
    """A line of text; x and y are its left end ("left"), middle or right end on the line the letters stand on."""

    x: float
    y: float
    text: str
    size: float
    tone: Tone = "text"
    bold: bool = False
    align: Literal["left", "middle", "right"] = "left"


@dataclass(frozen=True)
class Box:
    """A rectangle: filled with a tone, edged with another, or both."""

    x: float
    y: float
    width: float
    height: float
    fill: Tone | None = None
    edge: Tone | None = None
    line: float = 0.25


@dataclass(frozen=True)
class Line:
    """A straight line."""

    x0: float
    y0: float
    x1: float
    y1: float
    tone: Tone = "secondary"
    line: float = 0.25
    dashed: bool = False


@dataclass(frozen=True)
class Shape:
    """A polygon through these (x, y) points, closed: filled with a tone, edged with another, or both."""

    points: tuple[tuple[float, float], ...]
    fill: Tone | None = None
    edge: Tone | None = None
    line: float = 0.25
    dashed: bool = False


@dataclass(frozen=True)
class Photo:
    """The picture of this name, in a box that it fills: that of the swatch, or any other that goes with a drawing."""

    x: float
    y: float
    width: float
    height: float
    swatch_id: str
    title: str = ""


Mark = Words | Box | Line | Shape | Photo


@dataclass(frozen=True)
class Drawing:
    """A picture: its size, its marks from the furthest back to the nearest, and what it says in words."""

    width: float
    height: float
    marks: tuple[Mark, ...]
    description: str


def tone_lightness(tone: Tone, page: Page) -> float:
    """
    Return the L* of a tone on this page.

    >>> from contrastkit.show.look import LIGHT_PAGE
    >>> tone_lightness("text", LIGHT_PAGE), tone_lightness(33.0, LIGHT_PAGE)
    (15.0, 33.0)
    """
    return float(getattr(page, tone)) if isinstance(tone, str) else tone


def group_mark(
    x: float, y: float, height: float, place: int, *, rival: int | None = None, tone: Tone = "text"
) -> Iterator[Box]:
    """Yield the short bars of the group at this place in the order, left to right from x."""
    edge = 0.12 * height
    for bar in group_bars(place, rival=rival):
        left, width = x + bar.left * height, bar.width * height
        if bar.hollow:
            yield Box(left + edge / 2, y + edge / 2, width - edge, height - edge, edge=tone, line=edge)
        else:
            yield Box(left, y, width, height, fill=tone)


def mark_width(height: float, place: int, *, rival: int | None = None) -> float:
    """Return how wide the mark of a group is."""
    last = group_bars(place, rival=rival)[-1]
    return (last.left + last.width) * height


def levels_without_overlap(spans: Sequence[tuple[float, float]], *, gap: float = 0.0) -> list[int]:
    """
    Return for each span (left, right) the lowest level on which it overlaps none placed before it.

    Spans are placed in the order given: sort them by their left ends for the fewest levels.

    Examples
    --------
    >>> levels_without_overlap([(0, 4), (3, 6), (4, 8), (5, 9)])
    [0, 1, 0, 2]
    """
    taken: list[list[tuple[float, float]]] = []
    levels = []
    for left, right in spans:
        level = next(
            (i for i, row in enumerate(taken) if all(right + gap <= a or left >= b + gap for a, b in row)), len(taken)
        )
        if level == len(taken):
            taken.append([])
        taken[level].append((left, right))
        levels.append(level)
    return levels


def moved(mark: Mark, right: float, up: float) -> Mark:
    """
    Return the mark, moved.

    >>> moved(Box(1, 2, 5, 5), 10, 0).x
    11
    """
    if isinstance(mark, Line):
        return replace(mark, x0=mark.x0 + right, x1=mark.x1 + right, y0=mark.y0 + up, y1=mark.y1 + up)
    if isinstance(mark, Shape):
        return replace(mark, points=tuple((x + right, y + up) for x, y in mark.points))
    return replace(mark, x=mark.x + right, y=mark.y + up)


def scaled(drawing: Drawing, factor: float) -> Drawing:
    """
    Return the drawing in another unit: every length times `factor`.

    >>> scaled(Drawing(80, 40, (Box(8, 4, 16, 8, line=2),), "A box."), 0.25).marks
    (Box(x=2.0, y=1.0, width=4.0, height=2.0, fill=None, edge=None, line=0.5),)
    """
    marks = tuple(_scaled(mark, factor) for mark in drawing.marks)
    return Drawing(drawing.width * factor, drawing.height * factor, marks, drawing.description)


_LENGTHS = ("x", "y", "x0", "y0", "x1", "y1", "width", "height", "line", "size")


def _scaled(mark: Mark, factor: float) -> Mark:
    lengths: dict[str, Any] = {name: getattr(mark, name) * factor for name in _LENGTHS if hasattr(mark, name)}
    if isinstance(mark, Shape):
        lengths["points"] = tuple((x * factor, y * factor) for x, y in mark.points)
    return replace(mark, **lengths)
