"""
Words for hues: where one name of a colour ends and the next begins, on the CIELAB hue circle.

The limits are design choices: painters' words have no fixed ones. A colour of so little chroma that nobody would name
its hue is called grey.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

GREY = "grey"
LEAST_CHROMA = 8.0
"""C*ab below which a colour is called grey."""
HUES = (
    ("red", 345.0), ("orange", 45.0), ("yellow", 72.0), ("green", 105.0), ("blue-green", 180.0), ("blue", 225.0),
    ("violet", 295.0), ("pink", 325.0),
)  # fmt: skip
"""Names of hues and the hue angle, degrees, from which each is used, until the next; red goes through 0."""
HUE_NAMES = (*(name for name, _ in HUES), GREY)


def hue_name(chroma: float, hue_angle: float) -> str:
    """
    Return the word for a colour's hue; nothing where it is not known.

    Parameters
    ----------
    chroma : C*ab
    hue_angle : degrees

    >>> hue_name(60, 30), hue_name(50, 270), hue_name(2, 100)
    ('red', 'blue', 'grey')
    """
    if not np.isfinite(chroma):
        return ""
    if chroma < LEAST_CHROMA:
        return GREY
    if not np.isfinite(hue_angle):
        return ""
    angle = hue_angle % 360
    return next((name for name, start in sorted(HUES, key=lambda hue: -hue[1]) if angle >= start), HUES[0][0])


def hue_names(table: pd.DataFrame) -> list[str]:
    """
    Return the word for the hue of each piece of a swatch table, in the order of its rows; nothing where not known.

    >>> import pandas as pd
    >>> hue_names(pd.DataFrame({"chroma": [60.0, float("nan")], "hue_angle": [100.0, 10.0]}))
    ['yellow', '']
    """
    nothing = np.full(len(table), np.nan)
    chroma = table["chroma"].to_numpy(float) if "chroma" in table else nothing
    angle = table["hue_angle"].to_numpy(float) if "hue_angle" in table else nothing
    return [hue_name(*each) for each in zip(chroma, angle, strict=True)]
