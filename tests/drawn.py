"""What a chart drew, read from its artists: words, boxes, pictures, lines, with their places in millimetres."""

from itertools import combinations

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.patches import Polygon, Rectangle

from contrastkit.light.lightness import srgb1_to_lightness

MM = 72 / 25.4  # points


def axes_of(chart):
    (axes,) = chart.figure.axes
    return axes


def words_of(chart):
    return [text.get_text() for text in axes_of(chart).texts]


def texts_of(chart, words):
    """Every text that reads so."""
    return [text for text in axes_of(chart).texts if text.get_text() == words]


def place_of(chart, words):
    """Anchor (mm from the bottom left) of the one text that reads so."""
    (text,) = texts_of(chart, words)
    return text.get_position()


def boxes_of(chart):
    """(left, bottom, width, height, L* of the filling or None) of every rectangle."""
    return [
        (*patch.get_xy(), patch.get_width(), patch.get_height(), lightness_of(patch.get_facecolor()))
        for patch in axes_of(chart).patches
        if isinstance(patch, Rectangle)
    ]


def edged_boxes_of(chart):
    """(left, bottom, width, height) of every rectangle with an edge."""
    return [
        (*patch.get_xy(), patch.get_width(), patch.get_height())
        for patch in axes_of(chart).patches
        if isinstance(patch, Rectangle) and patch.get_linewidth() > 0
    ]


def polygons_of(chart):
    return [patch for patch in axes_of(chart).patches if isinstance(patch, Polygon)]


def lines_of(chart):
    """((x0, x1), (y0, y1), width in mm) of every line."""
    return [(tuple(line.get_xdata()), tuple(line.get_ydata()), line.get_linewidth() / MM)
            for line in axes_of(chart).lines]


def pictures_of(chart):
    """((left, bottom, right, top), pixels) of every picture."""
    return [(np.array(image.get_extent())[[0, 2, 1, 3]], image.get_array()) for image in axes_of(chart).images]


def lightness_of(colour):
    return None if colour[3] == 0 else float(srgb1_to_lightness(to_rgb(colour)))


def pixels_of(chart, dpi):
    """The chart as it is drawn, 8-bit, shape (rows, cols, 3)."""
    chart.figure.set_dpi(dpi)
    canvas = FigureCanvasAgg(chart.figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[..., :3]


def extents(chart):
    """Boxes (left, bottom, right, top) of all words and pictures, as they are drawn."""
    renderer = FigureCanvasAgg(chart.figure).get_renderer()
    words = [ink_of(text, chart, renderer) for text in axes_of(chart).texts if text.get_text().strip()]
    return words, [("picture", extent) for extent, _ in pictures_of(chart)]


def ink_of(text, chart, renderer=None):
    """Matplotlib's box holds the whole line; ink reaches 0.75 of the type above it, 0.22 below (letters d and g)."""
    box = text.get_window_extent(renderer or FigureCanvasAgg(chart.figure).get_renderer())
    left, _, right, _ = axes_of(chart).transData.inverted().transform_bbox(box).extents
    line, size = text.get_position()[1], text.get_fontsize() / MM
    return text.get_text(), (left, line - 0.22 * size, right, line + 0.75 * size)


def overlapping(boxes, others=None, slack=0.15):
    """Names of the boxes that overlap by more than `slack` mm, which is less than any letter's stroke and side gap."""
    pairs = combinations(boxes, 2) if others is None else ((a, b) for a in boxes for b in others)
    return [(a[0], b[0]) for a, b in pairs if shared(a[1], b[1], 0) > slack and shared(a[1], b[1], 1) > slack]


def shared(one, other, axis):
    """How much of one axis two boxes share; negative for a gap."""
    return min(one[axis + 2], other[axis + 2]) - max(one[axis], other[axis])


def colours_of(chart):
    axes = axes_of(chart)
    return [
        *(text.get_color() for text in axes.texts), *(line.get_color() for line in axes.lines),
        *(patch.get_facecolor() for patch in axes.patches), *(patch.get_edgecolor() for patch in axes.patches),
        chart.figure.get_facecolor(),
    ]


def assert_keeps_to_the_look(chart):
    """No type under 8 points, no line under 0.25 mm, no hue, no other typeface."""
    axes = axes_of(chart)
    assert min(text.get_fontsize() for text in axes.texts) >= 8
    widths = [artist.get_linewidth() for artist in [*axes.patches, *axes.lines] if artist.get_linewidth() > 0]
    assert min(widths) >= 0.25 * MM - 1e-9
    assert all(len(set(to_rgb(colour))) == 1 for colour in colours_of(chart))
    assert all("AtkinsonHyperlegibleNext" in text.get_fontproperties().get_file() for text in axes.texts)
