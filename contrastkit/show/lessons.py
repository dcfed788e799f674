"""
The teaching charts by name: what each is about, and how it is drawn from a pile.

Every chart is a finding about this pile: its title says it, its real pieces show it, and a line under the title says
how it was measured and how sure it is. A pile that has too few pieces for a chart is told so, and what to do.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, cast

from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops


@dataclass(frozen=True)
class Lesson:
    """
    One teaching chart.

    words: what it is about, as a list of charts says it; home, function: where it is drawn, loaded when it first is;
    most: how many times its own size it may be printed at, 1 where it must be looked at from so far.
    """

    words: str
    home: str
    function: str
    most: float = 1.4

    def draw(self, table: pd.DataFrame, crops: Crops, **options: Any) -> Chart:
        """Return the chart of this pile; the function that draws it says which options there are."""
        function = getattr(import_module(f"contrastkit.show.{self.home}"), self.function)
        return cast("Chart", function(table, crops, **options))


LESSONS: dict[str, Lesson] = {
    "grey-scale": Lesson(
        "a grey scale of 5, 9 or 11 steps, the pile's own swatches under their step", "lesson_scale", "grey_scale_chart"
    ),
    "same-value": Lesson("one value, many hues: apart in colour, one in grey", "lesson_colour", "same_value_chart"),
    "same-hue": Lesson("one hue, many values", "lesson_colour", "same_hue_chart"),
    "fooling-pairs": Lesson("pairs that colour fools the eye with", "lesson_colour", "fooling_pairs_chart"),
    "vivid": Lesson("vivid colours: what grey says and what the eye says", "lesson_moves", "vivid_chart"),
    "half-and-half": Lesson("half black, half white is L* 76, not 50", "lesson_light", "half_and_half_chart", 1.0),
    "coverage": Lesson("how much light on dark is half-way, and dark on light", "lesson_light", "coverage_chart"),
    "distances": Lesson("one stack from 0.5 m to 8 m", "lesson_distance", "distances_chart", 1.0),
    "rim": Lesson("the rim that lasts and the rim that vanishes", "lesson_distance", "rim_chart"),
    "balance": Lesson("what the pile is short of", "lesson_pile", "balance_lesson"),
    "pairs": Lesson("which pieces separate from which", "lesson_pile", "pairs_lesson"),
    "lamps": Lesson("how warm lamps move lightness", "lesson_moves", "lamps_chart"),
    "eyes": Lesson("how colour-vision deficiency moves lightness", "lesson_moves", "eyes_chart"),
    "films": Lesson("what a red or green viewing film shows, and where it misleads", "lesson_moves", "films_chart"),
}


def lesson_named(kind: str) -> Lesson:
    """
    Return the teaching chart of that name.

    Raises
    ------
    InvalidInputError
        There is none.

    Examples
    --------
    >>> lesson_named("same-hue").words
    'one hue, many values'
    """
    if kind not in LESSONS:
        raise InvalidInputError(f"A chart must be one of {', '.join(LESSONS)}; got {kind!r}. Pick one of these.")
    return LESSONS[kind]


def teaching_chart(kind: str, table: pd.DataFrame, crops: Crops | None = None, **options: Any) -> Chart:
    """
    Return a teaching chart of a pile.

    Parameters
    ----------
    kind : one of LESSONS
    table : the swatch table
    crops : the pieces cut out of their photographs, by swatch_id; without them most charts show flat greys
    options : what the function that draws this kind takes, such as `title`, or `steps` of a grey scale

    Raises
    ------
    InvalidInputError
        No such kind, a pile that has too little for it, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> teaching_chart("grey-scale", table, steps=5).description[:31]
    'The pile stands on 2 of 5 steps'
    """
    return lesson_named(kind).draw(table, crops or {}, **options)
