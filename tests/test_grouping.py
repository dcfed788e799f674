"""A pile sorted as asked for by name."""

import numpy as np
import pandas as pd
import pytest
from made_pile import made_table

from contrastkit.compose.grouping import Grouping, sort_pile
from contrastkit.compose.groups import equal_breaks, fixed_breaks, natural_breaks
from contrastkit.errors import InvalidInputError, TooFewSwatchesError

PILE = made_table(24)


def test_each_method_gives_its_own_breaks():
    """The word on the command line would lead to another method's groups."""
    lightness = PILE["lightness"]
    assert sort_pile(PILE, Grouping()).breaks == fixed_breaks()
    assert sort_pile(PILE, Grouping(edges=(30, 60))).breaks == fixed_breaks((30, 60))
    assert sort_pile(PILE, Grouping("natural")).breaks == natural_breaks(lightness)
    assert sort_pile(PILE, Grouping("natural", count=4)).breaks == natural_breaks(lightness, 4)
    assert sort_pile(PILE, Grouping("equal", count=5)).breaks == equal_breaks(lightness, 5)


def test_fixed_edges_for_three_groups_are_the_usual_ones():
    """A count of 3, said or not, would sort differently."""
    assert Grouping(count=3).fixed == Grouping().fixed == fixed_breaks((40, 70))


def test_edges_found_in_a_pile_are_uncertain_and_make_more_pieces_borderline():
    """Natural edges would be taken for certain."""
    natural = sort_pile(PILE, Grouping("natural"))
    certain = sort_pile(PILE, Grouping(edges=natural.breaks.edges))

    assert min(natural.edge_sigma) > 0 and certain.edge_sigma == (0, 0)
    assert natural.table["group"].tolist() == certain.table["group"].tolist()
    assert natural.table["borderline"].sum() > certain.table["borderline"].sum()


def test_groups_hold_every_piece_once_from_dark_to_light():
    """A piece would be in two groups on the screen, or in none."""
    groups = sort_pile(PILE, Grouping()).groups

    assert [(group.name, group.low, group.high) for group in groups] == [
        ("dark", 0, 40), ("medium", 40, 70), ("light", 70, 100),
    ]  # fmt: skip
    named = [name for group in groups for name in group.swatches]
    assert named == PILE.sort_values("lightness")["swatch_id"].tolist()


def test_without_sigma_nothing_is_borderline_and_few_pieces_suffice():
    """A table of plain numbers could not be sorted by its gaps."""
    table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})

    in_groups = sort_pile(table, Grouping("natural"))

    assert in_groups.table["group"].tolist() == ["dark", "medium", "light"]
    assert not in_groups.table["borderline"].any()
    assert in_groups.edge_sigma == (0, 0)


def test_too_small_a_pile_is_refused():
    """Two pieces would make three groups."""
    with pytest.raises(TooFewSwatchesError, match="3 groups need at least 3 distinct"):
        sort_pile(PILE.head(2), Grouping("natural"))


def test_unknown_lightness_stays_unknown():
    """A piece never measured would be called dark."""
    table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [np.nan, 50.0]})
    assert sort_pile(table, Grouping()).table["group"].tolist() == ["", "medium"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"method": "best"}, "must be fixed, natural, equal; got 'best'"),
        ({"count": 1}, "from 2 to 9 groups; got 1"),
        ({"count": 10}, "from 2 to 9 groups; got 10"),
        ({"edges": (70.0, 40.0)}, "must increase"),
        ({"edges": ()}, "from 2 to 9 groups; got 1"),
        ({"method": "natural", "edges": (40.0, 70.0)}, "natural groups find their own"),
        ({"edges": (40.0, 70.0), "count": 4}, "2 edges and a count of 4"),
    ],
)
def test_what_cannot_be_is_refused_before_anything_is_measured(options, words):
    """The slip would show after minutes of measuring."""
    with pytest.raises(InvalidInputError, match=words):
        Grouping(**options)
