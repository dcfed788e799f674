"""Dark, medium and light: exact edges, honest membership, and plain words about the pile."""

from __future__ import annotations

import itertools
import subprocess
import sys

import gold
import jenkspy
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.filters import threshold_multiotsu

from contrastkit.columns import SWATCHES, check_table, empty_table
from contrastkit.compose.groups import (
    Breaks,
    balance_sentence,
    edge_sigma_bootstrap,
    equal_breaks,
    evenly_spread_limit,
    fixed_breaks,
    goodness_of_variance_fit,
    grouping_sentence,
    natural_breaks,
    sort_into_groups,
)
from contrastkit.errors import InvalidInputError, TooFewSwatchesError

METHODS = [natural_breaks, equal_breaks]
ROUNDING = 1e-9  # sums of squares of up to a hundred numbers of up to 100, relative to themselves
EVEN_PILE = gold.PILE[0]
THREE_PILES = [20, 21, 22, 23, 50, 51, 52, 53, 80, 81, 82, 83]


def upper_values(values, breaks):
    """The lightest value of each group: what many programs call the breaks."""
    groups = breaks.assign(values)
    return tuple(max(v for v, g in zip(values, groups, strict=True) if g == name) for name in breaks.names)


def squares_within(values, breaks):
    groups = np.asarray(breaks.assign(values))
    parts = [np.asarray(values, dtype=float)[groups == name] for name in breaks.names]
    return sum(((part - part.mean()) ** 2).sum() for part in parts if part.size)


def every_grouping(values, groups):
    """All groupings of distinct values in order, with edges on the lightest value of each group."""
    cuts = itertools.combinations(sorted(set(values))[:-1], groups - 1)
    return [Breaks(cut, tuple("abcdefghi"[:groups])) for cut in cuts]


# One decimal, and so few different numbers that ties are common.
piles = st.lists(st.integers(0, 24).map(lambda n: n * 4.1), min_size=2, max_size=12)


@pytest.mark.parametrize(
    ("values", "groups", "lightest"),
    [gold.COUNTED, gold.TWELVE, gold.PILE, gold.COUNTIES],
    ids=["counted", "twelve", "pile", "counties"],
)
def test_natural_breaks_as_published(values, groups, lightest):
    """The grouping would not be the one every other exact program finds."""
    assert upper_values(values, natural_breaks(values, groups)) == lightest


@pytest.mark.parametrize(
    ("values", "sizes"), [(gold.PILE, gold.PILE_SIZES), (gold.COUNTIES, gold.COUNTIES_SIZES)], ids=["pile", "counties"]
)
def test_groups_have_the_published_sizes(values, sizes):
    """Values on an edge would fall into the wrong group."""
    groups = natural_breaks(*values[:2]).assign(values[0])
    assert tuple(groups.value_counts()) == sizes


@pytest.mark.parametrize(
    ("values", "fit", "atol"),
    [(gold.TWELVE, gold.TWELVE_FIT, 1e-6), (gold.PILE, gold.PILE_FIT, 1e-5)],  # half of the last printed digit, doubled
    ids=["twelve", "pile"],
)
def test_goodness_of_fit_as_published(values, fit, atol):
    """The share explained would be reckoned otherwise."""
    assert goodness_of_variance_fit(values[0], natural_breaks(*values[:2])) == pytest.approx(fit, abs=atol)


@given(values=piles, groups=st.integers(2, 5))
def test_natural_breaks_are_the_best_of_all_groupings(values, groups):
    """Dynamic programming would miss the optimum: here every grouping is tried."""
    if len(set(values)) < groups:
        return
    best = min(squares_within(values, breaks) for breaks in every_grouping(values, groups))
    got = squares_within(values, natural_breaks(values, groups))
    assert got == pytest.approx(best, rel=ROUNDING, abs=ROUNDING)


@given(values=piles, groups=st.integers(2, 5))
def test_equal_breaks_have_the_most_equal_counts_of_all_groupings(values, groups):
    """A tie would be split, or the counts be less equal than they could: here every grouping is tried."""
    if len(set(values)) < groups:
        return

    def squared_counts(breaks):
        return (breaks.assign(values).value_counts() ** 2).sum()

    best = min(squared_counts(breaks) for breaks in every_grouping(values, groups))
    assert squared_counts(equal_breaks(values, groups)) == best


@pytest.mark.parametrize("groups", range(2, 10))
@pytest.mark.parametrize("count", [12, 60, 200])
def test_natural_breaks_do_as_well_as_jenkspy(count, groups):
    """One of the two would not be exact. Sums are compared, since equal sums can have other breaks."""
    values = np.random.default_rng(count + groups).uniform(15, 95, count).round(1)
    theirs = Breaks(tuple(jenkspy.jenks_breaks(values, groups)[1:-1]), tuple("abcdefghi"[:groups]))
    ours = squares_within(values, natural_breaks(values, groups))
    assert ours == pytest.approx(squares_within(values, theirs), rel=ROUNDING)


@pytest.mark.parametrize("groups", [2, 3, 4])
def test_natural_breaks_are_otsus_thresholds_on_whole_numbers(groups):
    """The same objective found another way, over a histogram, would give another grouping."""
    values = np.random.default_rng(groups).integers(10, 96, 40)
    theirs = threshold_multiotsu(values.astype(np.uint8), classes=groups)
    assert upper_values(values, natural_breaks(values, groups))[:-1] == tuple(theirs)


@pytest.mark.parametrize("method", METHODS, ids=lambda f: f.__name__)
class TestEveryMethod:
    @given(values=piles, groups=st.integers(2, 9))
    def test_fills_every_group_and_never_splits_equals(self, method, values, groups):
        """A group would be empty, or two pieces of one lightness be in two groups."""
        if len(set(values)) < groups:
            with pytest.raises(TooFewSwatchesError, match="Measure more swatches"):
                method(values, groups)
            return
        breaks = method(values, groups)
        assigned = breaks.assign(values)
        assert (assigned.value_counts() > 0).all()
        assert len(set(zip(values, assigned, strict=True))) == len(set(values))
        assert list(assigned[np.argsort(values, kind="stable")]) == sorted(assigned, key=breaks.names.index)

    @given(values=piles, seed=st.integers(0, 9))
    def test_does_not_care_about_order_or_repetition(self, method, values, seed):
        """The same pile, shuffled or asked again, would be grouped otherwise."""
        if len(set(values)) < 3:
            return
        shuffled = np.random.default_rng(seed).permutation(values)
        assert method(values) == method(shuffled) == method(values)

    def test_passes_over_unknown_lightness(self, method):
        """nan would count as a lightness."""
        assert method([20, np.nan, 50, 80, np.nan]) == method([20, 50, 80])

    def test_puts_edges_midway_between_neighbours(self, method):
        """A new piece just above a group's lightest would always fall into the next group."""
        assert method([20, 30, 60, 70, 86, 90]).edges == (45, 78)

    def test_keeps_neighbours_apart_that_no_number_lies_between(self, method):
        """The midpoint would round up to the lighter value and pull it into the darker group."""
        above = np.nextafter(50.0, 100)
        assert list(method([50, above], 2).assign([50, above])) == ["dark", "light"]

    def test_refuses_too_few_distinct_values(self, method):
        """Fewer groups than asked would come back silently."""
        message = r"3 groups need at least 3 distinct lightness values; got 2\. Measure more swatches or ask for fewer"
        with pytest.raises(TooFewSwatchesError, match=message):
            method([50, 50, 50, 80])
        with pytest.raises(TooFewSwatchesError, match="got 0"):
            method([np.nan])

    @pytest.mark.parametrize("groups", [0, 1, 10, 2.5])
    def test_refuses_other_than_two_to_nine_groups(self, method, groups):
        """One group sorts nothing, and ten have no names."""
        with pytest.raises(InvalidInputError, match=f"from 2 to 9 groups; got {groups}. Two are dark and light"):
            method(range(20), groups)

    def test_takes_names(self, method):
        """A project's own words could not be used."""
        assert method([20, 50, 80], 3, ("low", "mid", "high")).names == ("low", "mid", "high")
        with pytest.raises(InvalidInputError, match="one name more than edges; got 2 names for 2 edges. Name every"):
            method([20, 50, 80], 3, ("low", "high"))

    def test_refuses_an_infinite_lightness(self, method):
        """Infinity would swallow every distance."""
        with pytest.raises(InvalidInputError, match="finite number; got infinity. Measure that piece again"):
            method([20, 50, np.inf])

    def test_refuses_words(self, method):
        """A text column would end in an error that names nothing."""
        with pytest.raises(InvalidInputError, match="lightness must be numbers"):
            method(["dark", "light", "medium"])

    def test_a_hundred_thousand_pieces_are_sorted(self, method):
        """A catalogue's whole pile is more than an n by n table can hold."""
        values = np.random.default_rng(0).uniform(15, 95, 100_000)
        assert len(method(values).edges) == 2


def test_equal_breaks_give_larger_counts_to_the_lighter_groups():
    """Which group gets the odd piece would be left to rounding."""
    assert tuple(equal_breaks(range(20)).assign(range(20)).value_counts()) == (6, 7, 7)


def test_equal_breaks_go_by_squared_counts():
    """Another measure of evenness would group otherwise: 36 + 4 + 9 is less than 1 + 25 + 25, of cubes it is not."""
    values = [20] + [30] * 5 + [40] * 2 + [50] * 3
    assert tuple(equal_breaks(values).assign(values).value_counts()) == (6, 2, 3)


def test_fixed_breaks_are_forty_and_seventy():
    """The teaching bands would have moved."""
    assert list(fixed_breaks().assign([0, 40, 40.01, 70, 70.01, 104])) == ["dark"] * 2 + ["medium"] * 2 + ["light"] * 2
    assert repr(fixed_breaks()) == "dark <= 40 < medium <= 70 < light"
    assert fixed_breaks() == Breaks((40, 70))


@pytest.mark.parametrize("groups", range(2, 10))
def test_any_number_of_groups_has_words_of_its_own(groups):
    """Two groups of a pile would share a name, or the order of words not be the order of lightness."""
    breaks = natural_breaks(range(0, 100, 10), groups)
    assert len(set(breaks.names)) == groups
    assert all("dark" in name for name in breaks.names[: groups // 2])
    assert all("light" in name for name in breaks.names[-(groups // 2) :])
    assert (groups % 2 == 1) == ("medium" in breaks.names)


def test_assigned_groups_are_in_order_and_unknown_stays_unknown():
    """Sorting by group would be alphabetical, or a piece without a lightness be called light."""
    groups = fixed_breaks().assign([90, np.nan, 10])
    assert groups.ordered
    assert groups.min() == "dark"
    assert pd.isna(groups[1])


@pytest.mark.parametrize(
    ("edges", "names", "message"),
    [
        ((70, 40), ("a", "b", "c"), "must increase, darkest first; got 70 and 40. Put the lower lightness first"),
        ((40, 40), ("a", "b", "c"), "must increase, darkest first; got 40 and 40"),
        ((40, np.nan), ("a", "b", "c"), "must increase, darkest first; got 40 and nan"),
        ((np.inf,), ("a", "b"), "must increase, darkest first; got inf"),
        (("x",), ("a", "b"), "edges must be numbers"),
        ((), ("a",), "from 2 to 9 groups; got 1"),
        ((40, 70), ("a", "b"), "one name more than edges; got 2 names for 2 edges. Name every group"),
        ((40, 70), ("a", "b", "a"), "a name of its own; got 'a', 'b', 'a'. Rename one of them"),
        ((40, 70), ("a", "", "b"), "a name of its own; got 'a', '', 'b'"),
    ],
)
def test_edges_and_names_that_do_not_fit_are_refused(edges, names, message):
    """Groups would overlap, or a piece be in none."""
    with pytest.raises(InvalidInputError, match=message):
        Breaks(edges, names)


def test_membership_of_a_piece_two_below_the_edge():
    """The bell curve would be taken at the wrong width: one sigma from the edge is 0.84134 (tables of the normal)."""
    likely = fixed_breaks().membership([38], 2)
    assert likely.columns.tolist() == ["dark", "medium", "light"]
    assert likely.to_numpy()[0] == pytest.approx([0.8413447, 0.1586553, 0], abs=1e-7)


def test_uncertain_edges_count_as_much_as_uncertain_pieces():
    """Edges found in the pile would be taken as exact: 3 and 4 make 5."""
    both = fixed_breaks().membership([38], 3, 4).to_numpy()
    assert both == pytest.approx(fixed_breaks().membership([38], 5).to_numpy(), abs=1e-15)
    each = fixed_breaks().membership([38], 3, [4, 0]).to_numpy()[0]
    assert each[0] == pytest.approx(both[0, 0], abs=1e-15)


@given(
    lightness=st.lists(st.floats(0, 110), min_size=1, max_size=8),
    sigma=st.floats(0, 50),
    edge_sigma=st.tuples(st.floats(0, 50), st.floats(0, 50)),
)
def test_membership_is_a_probability(lightness, sigma, edge_sigma):
    """Rows would not add up to one, or edges of unlike sigma make a negative probability."""
    likely = fixed_breaks().membership(lightness, sigma, edge_sigma).to_numpy()
    assert ((likely >= 0) & (likely <= 1 + 1e-12)).all()
    assert likely.sum(axis=1) == pytest.approx(np.ones(len(lightness)), abs=1e-12)


def test_without_any_doubt_membership_is_the_group():
    """A sigma of 0 would divide by it, or put a value on the edge into both groups."""
    values = np.array([10, 40, 40.1, 70, 70.1, 100])
    likely = fixed_breaks().membership(values, 0)
    assert likely.idxmax(axis=1).tolist() == list(fixed_breaks().assign(values))
    assert set(likely.to_numpy().ravel()) == {0, 1}
    assert fixed_breaks().membership([50], 1e-310).to_numpy().tolist() == [[0, 1, 0]]


def test_membership_is_unknown_where_lightness_or_sigma_is():
    """An unmeasured piece would be called dark, light, or sure."""
    likely = fixed_breaks().membership([50, np.nan, 50], [1, 1, np.nan])
    assert likely.isna().all(axis=1).tolist() == [False, True, True]


def test_membership_keeps_the_rows_of_a_column():
    """Joined to its table, a probability would stand beside another piece."""
    column = pd.Series([20.0, 90.0], index=["b", "a"])
    assert fixed_breaks().membership(column, 2)["light"].round().to_dict() == {"b": 0, "a": 1}


@pytest.mark.parametrize(
    ("sigma", "edge_sigma", "message"),
    [
        ([1, 2], 0, "sigma must be one number or one for each piece; got 2 for 3. Pass 3 or 1"),
        (1, [1, 2, 3], "edge_sigma must be one number or one for each edge; got 3 for 2. Pass 2 or 1"),
        (-1, 0, "sigma must be 0 or more; its smallest value is -1. A standard uncertainty"),
        (1, -1, "edge_sigma must be 0 or more; its smallest value is -1"),
    ],
)
def test_sigmas_that_do_not_fit_are_refused(sigma, edge_sigma, message):
    """One piece's doubt would be lent to another."""
    with pytest.raises(InvalidInputError, match=message):
        fixed_breaks().membership([20, 50, 80], sigma, edge_sigma)


@pytest.fixture
def pile():
    """Sure, on either side of doubt, unmeasured, without a sigma; index not 0, 1, 2."""
    return pd.DataFrame(
        {
            "swatch_id": ["a", "b", "c", "d", "e"],
            "lightness": [20, 38.3, 38.4, np.nan, 90],
            "lightness_sigma": [1, 2, 2, 1, np.nan],
            "note": ["kept"] * 5,
        },
        index=[7, 5, 3, 1, 1],
    )


def test_sorting_fills_group_probability_and_borderline(pile):
    """A piece would be called sure that is not: 0.8 of a bell curve lies below 0.8416 sigma."""
    table = sort_into_groups(pile, fixed_breaks())
    assert table["group"].tolist() == ["dark", "dark", "dark", "", "light"]
    assert table["borderline"].tolist() == [False, False, True, False, False]
    assert table["group_probability"].tolist()[:3] == pytest.approx([1, 0.80234, 0.78814], abs=1e-5)
    assert table["group_probability"].isna().tolist() == [False, False, False, True, True]


def test_sorting_keeps_rows_and_other_columns_and_leaves_its_input_alone(pile):
    """Rows would be reordered or a note lost; or the caller's own table be changed."""
    before = pile.copy()
    table = sort_into_groups(pile, fixed_breaks())
    pd.testing.assert_frame_equal(table[before.columns.tolist()], before)
    pd.testing.assert_frame_equal(pile, before)


def test_sorting_again_replaces_the_old_groups(pile):
    """Moving an edge would add columns, or keep the old group."""
    once = sort_into_groups(pile, fixed_breaks([10, 15]))
    twice = sort_into_groups(once, fixed_breaks())
    pd.testing.assert_frame_equal(twice, sort_into_groups(pile, fixed_breaks()))


def test_uncertain_edges_make_more_pieces_borderline(pile):
    """The doubt about edges found in the pile would be forgotten."""
    assert sort_into_groups(pile, fixed_breaks(), edge_sigma=25)["borderline"].tolist() == [True] * 3 + [False] * 2


def test_a_narrow_group_is_named_by_lightness_though_its_neighbours_are_likelier():
    """Group and lightness would contradict each other; the doubt is said by borderline."""
    row = sort_into_groups(pd.DataFrame({"lightness": [41], "lightness_sigma": [5]}), Breaks((40, 42))).iloc[0]
    assert (row["group"], bool(row["borderline"])) == ("medium", True)
    assert row["group_probability"] == pytest.approx(0.15852, abs=1e-5)  # 2 Φ(0.2) - 1


def test_sorted_tables_keep_the_contract():
    """A column would come back in another type than declared, also for a table without rows or without sigma."""
    declared = {column.name: column.dtype for column in SWATCHES}
    plain = pd.DataFrame({"swatch_id": ["a"], "lightness": [50.0]})
    for table in (empty_table(SWATCHES), plain):
        done = sort_into_groups(table, fixed_breaks())
        for name in ("group", "group_probability", "borderline"):
            assert pd.api.types.pandas_dtype(declared[name]) == done[name].dtype
        pd.testing.assert_frame_equal(check_table(done, SWATCHES), done)


def test_a_table_without_lightness_is_refused():
    """The error would be a KeyError of pandas'."""
    with pytest.raises(InvalidInputError, match="must have a column 'lightness'; it has: L. Measure the swatches"):
        sort_into_groups(pd.DataFrame({"L": [50]}), fixed_breaks())


@pytest.mark.parametrize("groups", [2, 3, 5])
def test_evenly_spaced_values_reach_one_less_one_over_groups_squared(groups):
    """The baseline in the sentence would be wrong: theory, 2e-4 for 3001 values instead of all."""
    values = np.linspace(0, 100, 3001)
    assert goodness_of_variance_fit(values, natural_breaks(values, groups)) == pytest.approx(1 - groups**-2, abs=2e-4)


def test_goodness_of_fit_needs_something_to_explain():
    """A pile of one lightness would divide by nothing."""
    with pytest.raises(TooFewSwatchesError, match="at least 2 distinct lightness values to explain; got 1. Measure"):
        goodness_of_variance_fit([50, 50, np.nan], fixed_breaks())
    with pytest.raises(TooFewSwatchesError, match="got 0"):
        goodness_of_variance_fit([], fixed_breaks())


@pytest.mark.parametrize(("count", "limit"), gold.EVENLY_SPREAD_LIMIT)
def test_evenly_spread_limit_as_simulated_by_others(count, limit):
    """Groups would be claimed that chance gives more often than once in twenty."""
    assert evenly_spread_limit(count) == pytest.approx(limit, abs=gold.EVENLY_SPREAD_LIMIT_ATOL)


@pytest.mark.parametrize(("count", "groups"), [(30, 4), (400, 3)])
def test_chance_exceeds_the_limit_once_in_twenty(count, groups):
    """The many-piles programme or the rule beyond 100 pieces would differ from the single one: 600 fresh piles."""
    rng = np.random.default_rng(5)
    drawn = (rng.random(count) for _ in range(600))
    fits = [goodness_of_variance_fit(values, natural_breaks(values, groups)) for values in drawn]
    share = np.mean(np.array(fits) > evenly_spread_limit(count, groups))
    assert share == pytest.approx(0.05, abs=0.03)  # three standard errors of a share of 600


def test_evenly_spread_limit_is_repeatable():
    """The sentence would change from one report to the next."""
    first = evenly_spread_limit(99, 9)
    assert evenly_spread_limit(99, 9) == first


def test_limit_needs_as_many_pieces_as_groups():
    """More groups than pieces would be simulated; as many groups as pieces explain everything."""
    assert evenly_spread_limit(3) == pytest.approx(1, abs=1e-12)
    with pytest.raises(TooFewSwatchesError, match="3 groups need at least 3 pieces; got 2. Measure more swatches"):
        evenly_spread_limit(2)


@pytest.mark.parametrize(
    ("values", "breaks", "beginning", "end"),
    [
        (THREE_PILES, fixed_breaks(), "The pile really falls into these 3 groups: they explain 99.8 % of", "%."),
        ([*THREE_PILES, np.nan], natural_breaks(THREE_PILES), "The pile really falls into these 3 groups", "%."),
        (
            [20, 21, 22, 33, 34, 35, 36, 37, 80, 81, 82, 83],
            fixed_breaks(),
            "The pile really falls into 3 groups, but not at these edges: they explain 94.9 % of the differences in "
            "lightness, edges at 27.5 and 58.5 would explain 99.8 %, where 12 evenly spread pieces",
            "%.",
        ),
        (
            EVEN_PILE,
            fixed_breaks(),
            "The pile does not fall into 3 groups of its own: the best edges explain 89.7 % of the differences in "
            "lightness, where 23 evenly spread pieces would reach 88.9 %, and by chance hardly ever more than 94",
            "Take the edges as a convenience.",
        ),
        (THREE_PILES, fixed_breaks([40]), "The pile does not fall into 2 groups of its own: the best edges", "."),
        (
            [20, 50, 80],
            fixed_breaks(),
            "Too few pieces to tell whether the pile falls into 3 groups",
            "(different lightnesses: 3).",
        ),
        ([], fixed_breaks(), "Too few pieces to tell", "(different lightnesses: 0)."),
        ([50] * 20, fixed_breaks(), "Too few pieces to tell", "(different lightnesses: 1)."),
    ],
)
def test_the_sentence_says_whether_there_are_groups(values, breaks, beginning, end):
    """A pile spread evenly would be said to have groups because 89 % sounds good, or real groups be missed."""
    sentence = grouping_sentence(values, breaks)
    assert sentence.startswith(beginning)
    assert sentence.endswith(end)


@pytest.mark.parametrize(
    ("counts", "sentence"),
    [
        ((8, 9, 3), "Short of lights: 3 of 20."),
        ((2, 15, 3), "Short of darks: 2 of 20, and of lights: 3 of 20."),
        ((10, 10, 0), "Short of lights: none of 20."),
        ((8, 7, 3), "Short of lights: 3 of 18."),
        ((8, 6, 4), "Well balanced: 8 dark, 6 medium, 4 light."),
        ((5, 10, 5), "Many mediums: 10 of 20."),
        ((6, 9, 5), "Well balanced: 6 dark, 9 medium, 5 light."),
        ((5, 2, 2), "Many darks: 5 of 9."),
        ((7, 9, 7), "Well balanced: 7 dark, 9 medium, 7 light."),
        ((2, 1, 1), "Well balanced: 2 dark, 1 medium, 1 light."),
        ((0, 0, 0), "No piece is in a group yet."),
    ],
)
def test_the_sentence_says_what_the_pile_is_short_of(counts, sentence):
    """The artist would rub more of what she has plenty of."""
    groups = [name for name, count in zip(("dark", "medium", "light"), counts, strict=True) for _ in range(count)]
    assert balance_sentence(pd.DataFrame({"group": groups}, dtype="str")) == sentence


def test_balance_passes_over_pieces_in_no_group():
    """An unmeasured piece would count as a group without a name."""
    table = pd.DataFrame({"group": ["dark", "", None, "medium", "light"]})
    assert balance_sentence(table) == "Well balanced: 1 dark, 1 medium, 1 light."


@pytest.mark.parametrize(
    ("groups", "names", "sentence"),
    [
        (["dark"] * 4 + ["light"], ("dark", "light"), "Short of lights: 1 of 5."),
        (["dark"] * 4 + ["light"] * 4, None, "Short of mediums: none of 8."),
        (["medium dark"] * 4 + ["light"] * 4 + ["dark"] * 4, None, "Short of medium light pieces: none of 12."),
        (["low"] * 3 + ["high"] * 3, None, "Well balanced: 3 low, 3 high."),
    ],
)
def test_balance_knows_which_groups_could_be_there(groups, names, sentence):
    """A group with no piece at all would go unmentioned, though it is the one most missing."""
    assert balance_sentence(pd.DataFrame({"group": groups}), names) == sentence


def test_balance_refuses_tables_it_cannot_judge():
    """Groups of another sorting would be counted as none."""
    with pytest.raises(InvalidInputError, match="must have a column 'group'; it has: L. Sort the pile into groups"):
        balance_sentence(pd.DataFrame({"L": [1]}))
    with pytest.raises(InvalidInputError, match="one of dark, light; got 'medium'. Pass the names of all groups"):
        balance_sentence(pd.DataFrame({"group": ["dark", "medium"]}), ("dark", "light"))


def test_sorting_and_balance_fit_together():
    """Words of five groups would not be understood by the balance."""
    breaks = natural_breaks(EVEN_PILE, 5)
    table = sort_into_groups(pd.DataFrame({"lightness": EVEN_PILE}), breaks)
    assert balance_sentence(table) == balance_sentence(table, breaks.names)


def test_edges_of_clear_groups_are_surer_than_edges_of_an_even_pile():
    """Edges found in a pile without gaps would be taken as exact as those in wide gaps."""
    clear, even = (edge_sigma_bootstrap(values) for values in (THREE_PILES * 3, EVEN_PILE))
    assert clear.shape == even.shape == (2,)
    assert (clear < 2).all()
    assert (even > 3).all()


@pytest.mark.parametrize("method", METHODS, ids=lambda f: f.__name__)
def test_edge_sigma_is_repeatable_and_follows_its_seed(method):
    """A report made twice would differ, or the seed be ignored."""
    first, again, other = (edge_sigma_bootstrap(EVEN_PILE, method, seed=seed) for seed in (1, 1, 2))
    assert (first == again).all()
    assert (first != other).all()


def test_edge_sigma_shrinks_as_the_root_of_the_pile():
    """Large piles, which are resampled smaller, would seem less sure than they are.

    The median of a uniform pile has a sigma of half its range over the root of its count, about.
    """
    for count in (900, 9000):
        sigma = edge_sigma_bootstrap(np.random.default_rng(0).random(count) * 100, equal_breaks, 2)
        assert sigma == pytest.approx([50 / count**0.5], rel=0.3)  # 200 resamples tell it to 5 %, one pile to 20 %


def test_edge_sigma_of_too_small_a_pile_is_refused():
    """A number would come back from the few resampled piles that happen to have three values."""
    with pytest.raises(TooFewSwatchesError, match="needs more distinct lightness values than 3. Measure more .*fixed"):
        edge_sigma_bootstrap([20, 50, 80])
    with pytest.raises(TooFewSwatchesError, match="3 groups need at least 3 distinct"):
        edge_sigma_bootstrap([20, 50])
    with pytest.raises(InvalidInputError, match="2 or more resampled piles; got repeats 1. Pass 200"):
        edge_sigma_bootstrap(EVEN_PILE, repeats=1)


def test_importing_groups_loads_neither_pandas_nor_scipy():
    """The command line would take seconds to print its help."""
    code = "import sys, contrastkit.compose.groups; print({'pandas', 'scipy', 'matplotlib'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
