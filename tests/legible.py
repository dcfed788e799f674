"""
Whether a chart can be read in grey: the W3C's contrast of every mark and text with what it lies on.

    illegible(chart)                     every fault of a finished chart, in words
    illegible_marks(drawing, pictures)   the same of a drawing, before it is a chart

Asked for: 4.5 for text (WCAG 2.2, success criterion 1.4.3), 3 for marks that carry meaning (1.4.11). A filled mark
needs it where it ends: between what it is filled with, or its edge, or a line that something else draws along there,
and what lies just outside. Most of an outline is enough, as greys side by side may be alike. Grey is L*, so a colour
counts as the grey that it becomes.

What carries no meaning is left out: fillings and lines in the greys of the page that mean nothing ("ground", "raised",
"hairline") and the surrounds that pictures are laid on. So are the pictures themselves: a swatch has the lightness it
has. Words on a picture are held against every part of it that they cover.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from drawn import MM, axes_of
from matplotlib.colors import to_rgba
from matplotlib.patches import Polygon, Rectangle
from matplotlib.path import Path

from contrastkit.light.lightness import lightness_to_luminance, luminance, srgb1_to_linear
from contrastkit.show.chart import Chart
from contrastkit.show.crops import CutOut, Pixels
from contrastkit.show.drawing import Box, Drawing, Line, Mark, Photo, Shape, Words, tone_lightness
from contrastkit.show.look import LIGHT_PAGE, SURROUNDS, Page, text_width

TEXT, MARKS = 4.5, 3.0
ROUNDING = 0.06  # a tone becomes a whole 8-bit code
_JUST = 0.15  # mm outside an edge; less than the gap between any two marks
_EVERY = 0.7  # mm between places asked along an edge
_MOST = 60  # places along one
_SAME = 0.4  # L*: half a code of the darkest greys


def contrast(luminance1_a: float, luminance1_b: float) -> float:
    """The W3C's ratio, written out here so that it owes nothing to what it tests."""
    high, low = max(luminance1_a, luminance1_b), min(luminance1_a, luminance1_b)
    return (high + 0.05) / (low + 0.05)


def illegible(chart: Chart, *, page: Page = LIGHT_PAGE) -> list[str]:
    """Return what falls short in a chart, one sentence each; nothing where all can be read."""
    drawing, pictures = drawing_of(chart)
    return illegible_marks(drawing, pictures, page=page)


def illegible_marks(
    drawing: Drawing, pictures: Mapping[str, CutOut | Pixels] | None = None, *, page: Page = LIGHT_PAGE
) -> list[str]:
    """Return what falls short in a drawing in millimetres, one sentence each."""
    scene = _Scene(drawing.marks, page, {name: _light_of(picture) for name, picture in (pictures or {}).items()})
    return [fault for place, mark in enumerate(drawing.marks) for fault in _faults(scene, place, mark)]


def drawing_of(chart: Chart) -> tuple[Drawing, dict[str, Pixels]]:
    """Return the marks a chart was drawn from, furthest back first, every tone as the L* it has, and its pictures."""
    axes = axes_of(chart)
    pictures = {f"picture {number}": np.asarray(image.get_array()) for number, image in enumerate(axes.images)}
    marks: list[tuple[float, Mark]] = []
    for name, image in zip(pictures, axes.images, strict=True):
        left, right, bottom, top = image.get_extent()
        marks.append((image.get_zorder(), Photo(left, bottom, right - left, top - bottom, name)))
    marks += [(text.get_zorder(), _words(text)) for text in axes.texts]
    marks += [(line.get_zorder(), _line(line)) for line in axes.lines]
    marks += [(patch.get_zorder(), _filled(patch)) for patch in axes.patches]
    ordered = tuple(mark for _, mark in sorted(marks, key=lambda each: each[0]))
    width, height = axes.get_xlim()[1], axes.get_ylim()[1]
    return Drawing(width, height, ordered, chart.description), pictures


def _tone(colour) -> float | None:
    red, green, blue, alpha = to_rgba(colour)
    if alpha == 0:
        return None
    light = float(luminance(srgb1_to_linear([red, green, blue])))
    return float(_lightness(light))


def _lightness(light):
    return np.where(light > 216 / 24389, 116 * np.cbrt(light) - 16, light * 24389 / 27)


def _words(text) -> Words:
    align = {"left": "left", "center": "middle", "right": "right"}[text.get_horizontalalignment()]
    bold = "Bold" in str(text.get_fontproperties().get_file())
    return Words(*text.get_position(), text.get_text(), text.get_fontsize() / MM, _tone(text.get_color()), bold, align)


def _line(line) -> Line:
    (x0, x1), (y0, y1) = line.get_xdata(), line.get_ydata()
    return Line(x0, y0, x1, y1, _tone(line.get_color()), line.get_linewidth() / MM)


def _filled(patch) -> Box | Shape:
    fill, edge = _tone(patch.get_facecolor()), _tone(patch.get_edgecolor())
    width = patch.get_linewidth() / MM
    edge = edge if width > 0 else None
    if isinstance(patch, Rectangle):
        return Box(*patch.get_xy(), patch.get_width(), patch.get_height(), fill, edge, width)
    assert isinstance(patch, Polygon)
    return Shape(tuple(map(tuple, patch.get_xy()[:-1])), fill, edge, width)


# --- what lies where --------------------------------------------------------------------------------------------------


def _light_of(picture: CutOut | Pixels):
    """Luminance and how opaque, shape (rows, cols) each."""
    pixels = picture.pixels if isinstance(picture, CutOut) else picture
    alpha = pixels[..., 3] / 255 if pixels.shape[2] == 4 else np.ones(pixels.shape[:2])
    return np.asarray(luminance(srgb1_to_linear(pixels[..., :3] / 255))), alpha


@dataclass(frozen=True)
class _Scene:
    marks: Sequence[Mark]
    page: Page
    pictures: Mapping[str, tuple[np.ndarray, np.ndarray]]

    @cached_property
    def reach(self) -> np.ndarray:
        """Left, bottom, right and top of every mark with its line; words cover nothing."""
        return np.array([_reach(mark) for mark in self.marks])

    def lightness(self, tone) -> float:
        return tone_lightness(tone, self.page)

    def luminance(self, tone) -> float:
        return float(lightness_to_luminance(self.lightness(tone)))

    def under(self, place: int, points: np.ndarray) -> np.ndarray:
        """Luminance of what shows at points (x, y) before the mark at this place in the order is drawn."""
        light = np.full(len(points), self.luminance("ground"))
        low, high = points.min(axis=0), points.max(axis=0)
        for at in np.flatnonzero(self.near(low, high)[:place]):
            mark = self.marks[at]
            if isinstance(mark, Photo):
                self._lay(mark, points, light)
            elif isinstance(mark, Box | Shape) and mark.fill is not None:
                light[_inside(mark, points)] = self.luminance(mark.fill)
        return light

    def near(self, low: np.ndarray, high: np.ndarray) -> np.ndarray:
        """Which marks reach into a box, line and all."""
        return ((self.reach[:, :2] <= high) & (self.reach[:, 2:] >= low)).all(axis=1)

    def lines_along(self, points: np.ndarray):
        """Yield the tone of every line or edge that runs through some of the points, and through which of them."""
        for at in np.flatnonzero(self.near(points.min(axis=0), points.max(axis=0))):
            mark = self.marks[at]
            tone = getattr(mark, "tone", None) if isinstance(mark, Line) else getattr(mark, "edge", None)
            if tone is None or isinstance(mark, Words):
                continue
            ends = np.array([(mark.x0, mark.y0), (mark.x1, mark.y1)]) if isinstance(mark, Line) else _corners(mark)
            following = ends[1:] if isinstance(mark, Line) else np.roll(ends, -1, axis=0)
            near = np.zeros(len(points), bool)
            for start, end in zip(ends, following, strict=False):
                near |= _distance(points, start, end) <= mark.line
            if near.any():
                yield tone, near

    def _lay(self, mark: Photo, points: np.ndarray, light: np.ndarray) -> None:
        if mark.swatch_id not in self.pictures:
            return
        picture, alpha = self.pictures[mark.swatch_id]
        shares = (points - (mark.x, mark.y)) / (mark.width, mark.height)
        col, row = shares[:, 0] * picture.shape[1], (1 - shares[:, 1]) * picture.shape[0]
        there = (col >= 0) & (col < picture.shape[1]) & (row >= 0) & (row < picture.shape[0])
        row, col = row[there].astype(int), col[there].astype(int)
        light[there] += alpha[row, col] * (picture[row, col] - light[there])


def _reach(mark: Mark) -> tuple[float, float, float, float]:
    if isinstance(mark, Words):
        return np.inf, np.inf, -np.inf, -np.inf
    if isinstance(mark, Line):
        xs, ys = (mark.x0, mark.x1), (mark.y0, mark.y1)
    else:
        corners = _corners(mark)
        xs, ys = corners[:, 0], corners[:, 1]
    line = getattr(mark, "line", 0.0)
    return min(xs) - line, min(ys) - line, max(xs) + line, max(ys) + line


def _inside(mark: Box | Shape, points: np.ndarray) -> np.ndarray:
    if isinstance(mark, Shape):
        return Path(mark.points).contains_points(points)
    return ((points >= (mark.x, mark.y)) & (points <= (mark.x + mark.width, mark.y + mark.height))).all(axis=1)


# --- what falls short -------------------------------------------------------------------------------------------------


def _faults(scene: _Scene, place: int, mark: Mark):
    if isinstance(mark, Words):
        yield from _word_faults(scene, place, mark)
    elif isinstance(mark, Line):
        yield from _line_faults(scene, place, mark)
    elif isinstance(mark, Box | Shape):
        yield from _filled_faults(scene, place, mark)


def _word_faults(scene: _Scene, place: int, mark: Words):
    if not mark.text.strip():
        return
    wide = text_width(mark.text, mark.size, bold=mark.bold)
    left = mark.x - {"left": 0.0, "middle": 0.5, "right": 1.0}[mark.align] * wide
    xs = np.linspace(left, left + wide, min(_MOST, max(3, int(wide / _EVERY))))
    ys = mark.y + mark.size * np.array([-0.15, 0.1, 0.35, 0.6])
    light = scene.under(place, np.array([(x, y) for x in xs for y in ys]))
    worst = min(contrast(scene.luminance(mark.tone), each) for each in light)
    if worst < TEXT - ROUNDING:
        yield f"{mark.text!r} has a contrast of {worst:.1f} with what it lies on; text needs {TEXT}."


def _line_faults(scene: _Scene, place: int, mark: Line):
    if _means_nothing(scene, mark.tone):
        return
    ends = np.array([(mark.x0, mark.y0), (mark.x1, mark.y1)])
    points = _along(ends[0], ends[1])
    light = scene.under(place, points)
    if _enough(scene.luminance(mark.tone), light).mean() < 0.5:  # the eye follows a line across what it crosses
        yield f"A line from {ends[0].round(1).tolist()} to {ends[1].round(1).tolist()} is lost on what it lies on."


def _filled_faults(scene: _Scene, place: int, mark: Box | Shape):
    quiet_edge = mark.edge is None or _means_nothing(scene, mark.edge)
    if quiet_edge and (mark.fill is None or _means_nothing(scene, mark.fill, surrounds=True)):
        return
    corners = _corners(mark)
    sides = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
    along = np.concatenate([_along(a, b) for a, b in sides])
    outside = scene.under(place, np.concatenate([_along(a, b) + _outwards(a, b, corners) for a, b in sides]))
    tones = [tone for tone in (mark.fill, mark.edge) if tone is not None]
    shown = [_enough(scene.luminance(tone), outside) for tone in tones]
    shown += [_enough(scene.luminance(tone), outside) & near for tone, near in scene.lines_along(along)]
    if np.mean(np.any(shown, axis=0)) < 0.5:
        words = " and ".join(f"L* {scene.lightness(tone):.0f}" for tone in tones)
        lies = f"L* {float(_lightness(np.median(outside))):.0f}"
        yield f"A shape of {words} at {corners.min(axis=0).round(1).tolist()} is lost on {lies}; marks need {MARKS:g}."


def _enough(light: float, others: np.ndarray) -> np.ndarray:
    return np.array([contrast(light, each) >= MARKS - ROUNDING for each in others])


def _means_nothing(scene: _Scene, tone, *, surrounds: bool = False) -> bool:
    nothing = [scene.page.ground, scene.page.raised, scene.page.hairline, *(SURROUNDS.values() if surrounds else ())]
    return any(abs(scene.lightness(tone) - lightness) < _SAME for lightness in nothing)


def _corners(mark: Box | Shape | Photo) -> np.ndarray:
    if isinstance(mark, Shape):
        return np.array(mark.points, float)
    right, top = mark.x + mark.width, mark.y + mark.height
    return np.array([(mark.x, mark.y), (mark.x, top), (right, top), (right, mark.y)], float)


def _along(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    count = min(_MOST, max(3, int(np.hypot(*(end - start)) / _EVERY)))
    shares = (np.arange(count) + 0.5) / count
    return start + shares[:, None] * (end - start)


def _distance(points: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """From points to a straight line between two ends."""
    along = end - start
    share = np.clip((points - start) @ along / max(float(along @ along), 1e-12), 0, 1)
    return np.hypot(*(points - start - share[:, None] * along).T)


def _outwards(start: np.ndarray, end: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """A little step away from the shape, square to the side from start to end."""
    along = end - start
    length = float(np.hypot(*along)) or 1.0
    normal = np.array([-along[1], along[0]]) / length
    following = np.roll(corners, -1, axis=0)
    area = float(np.sum(corners[:, 0] * following[:, 1] - corners[:, 1] * following[:, 0]))
    return normal * _JUST * (-1 if area > 0 else 1)
