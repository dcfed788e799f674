"""Sort by eye: learners' orders against scipy, published worked examples and plain search."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import friedmanchisquare, kendalltau, spearmanr

from contrastkit.compose.eye_order import judge_order, pool_orders, progress
from contrastkit.errors import InvalidInputError


def pile(lightness, sigma=0.0, **columns):
    names = [f"p{number}" for number in range(len(lightness))]
    known = {"swatch_id": names, "lightness": np.array(lightness, float), "lightness_sigma": sigma}
    return pd.DataFrame(known | columns)


def as_order(ranks):
    """Names from the least rank to the greatest; equal ranks share a place."""
    return [[f"p{at}" for at, rank in enumerate(ranks) if rank == place] for place in sorted(set(ranks))]


def test_tau_is_that_of_a_published_example():
    """Hollander and Wolfe (1973), Nonparametric Statistical Methods, p. 185: Hunter L of nine lots of tuna against
    a panel's scores, T = 26 of 36 pairs, tau 0.444; as R's manual gives it, from memory."""
    hunter = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1]
    panel = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8]
    judged = judge_order(pile(hunter), as_order(panel))
    assert (judged.sure - judged.turned, judged.sure) == (26, 36)
    assert judged.tau == pytest.approx(16 / 36)


def test_rho_is_that_of_a_published_example():
    """Spearman's rank correlation of ten IQs and hours of television, -29/165: an encyclopedia's worked example, from
    memory."""
    iq, hours = [106, 100, 86, 101, 99, 103, 97, 113, 112, 110], [7, 27, 2, 50, 28, 29, 20, 12, 6, 17]
    scaled = np.array(iq) / 2
    assert judge_order(pile(scaled), as_order(hours)).rho == pytest.approx(-29 / 165)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_with_exact_measurements_the_coefficients_are_scipys(data):
    """Ties among the learner's places would count wrongly."""
    count = data.draw(st.integers(3, 12))
    lightness = data.draw(st.permutations(range(count)))
    ranks = data.draw(st.lists(st.integers(0, 5), min_size=count, max_size=count))
    judged = judge_order(pile([10 + 5 * each for each in lightness]), as_order(ranks))
    if len(set(ranks)) == 1:
        assert math.isnan(judged.tau)
        assert math.isnan(judged.rho)
        return
    assert judged.tau == pytest.approx(kendalltau(ranks, lightness).statistic, abs=1e-12)
    assert judged.rho == pytest.approx(spearmanr(ranks, lightness).statistic, abs=1e-12)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_what_the_measurement_cannot_tell_apart_is_never_counted_against_anybody(data):
    """A learner whose order may be the true one would be told that it is wrong."""
    count = data.draw(st.integers(3, 8))
    lightness = data.draw(st.lists(st.floats(0, 100), min_size=count, max_size=count))
    sigma = data.draw(st.lists(st.floats(0, 10), min_size=count, max_size=count))
    table = pile(lightness, sigma)
    drawn = [value + data.draw(st.floats(-0.8, 0.8)) * own for value, own in zip(lightness, sigma, strict=True)]
    order = [f"p{at}" for at in np.argsort(drawn, kind="stable")]
    judged = judge_order(table, order)  # each within 0.8 sigma: no pair is turned by 1.645 of the two together
    assert (judged.turned, judged.misplaced, judged.right) == (0, (), tuple(order))
    assert judged.tau == pytest.approx(1)
    assert judged.sentences[0] == f"All {count} pieces are in order, as far as the measurement can tell."


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_no_fewer_pieces_could_be_moved(data):
    """Learners would be told to move pieces that are right. Against trying every set, smallest first."""
    count = data.draw(st.integers(3, 7))
    lightness = data.draw(st.lists(st.integers(0, 100), min_size=count, max_size=count))
    sigma = data.draw(st.floats(0, 8))
    order = data.draw(st.permutations([f"p{at}" for at in range(count)]))
    table = pile(lightness, sigma)
    value = dict(zip(table["swatch_id"], table["lightness"], strict=True))
    limit = 1.645 * sigma * math.sqrt(2)

    def right_without(moved):
        left = [name for name in order if name not in moved]
        return all(value[one] - value[other] <= limit for one, other in combinations(left, 2))

    judged = judge_order(table, order)
    moved = {piece.swatch_id for piece in judged.misplaced}
    assert right_without(moved)
    assert not any(right_without(set(fewer)) for fewer in combinations(order, max(0, len(moved) - 1))) or not moved
    assert all(value[one] - value[other] <= limit + 1e-9 for one, other in combinations(judged.right, 2))


def test_a_misplaced_piece_is_named_with_what_may_have_led_the_eye():
    """A learner would be told that it is wrong, but not why."""
    table = pile([20, 40, 50, 62, 90], 0.5, lightness_apparent_low=[20, 47, 50, 62, 90],
                 lightness_low=[18, 38, 20, 60, 88], lightness_high=[22, 42, 80, 64, 92])
    judged = judge_order(table, ["p0", "p2", "p3", "p1", "p4"])
    (piece,) = judged.misplaced
    assert (piece.swatch_id, piece.place, piece.right_place, piece.wrong, piece.reasons) == ("p1", 4, 2, 2, ("vivid",))
    assert piece.widest == pytest.approx(22)
    assert piece.sentence == (
        "p1 (L* 40) was put too light: it is out of order with 2 others, by up to 22 L*. "
        "It may be that vivid colour looks lighter than it is."
    )
    assert judged.sentences[0] == "4 of 5 pieces are in order; move 1 and all are."
    (dark,) = judge_order(table, ["p2", "p0", "p1", "p3", "p4"]).misplaced
    assert (dark.swatch_id, dark.reasons) == ("p2", ("vivid", "patterned"))
    assert dark.widest == pytest.approx(-30)
    (near,) = judge_order(table, ["p0", "p1", "p2", "p4", "p3"]).misplaced[:1]
    assert near.reasons == ()
    tight = judge_order(pile([20, 26, 90]), ["p1", "p0", "p2"])
    assert tight.misplaced[0].reasons == ("near",)
    assert "the nearest lie within 10 L*" in tight.sentences[-1]


def test_calling_all_equal_is_no_order():
    """nan would be shown as a number, or the learner be called perfect."""
    judged = judge_order(pile([20, 40, 60]), [["p0", "p1", "p2"]])
    assert math.isnan(judged.tau)
    assert "Agreement cannot be told: all pieces were called equal." in judged.sentences


@pytest.mark.parametrize(("order", "message"), [
    (["p0", "p1"], r"^An order must be of three pieces or more; got 2\. Sort some more\.$"),
    (["p0", "p1", "p0"], r"^A piece must have one place in an order; 'p0' has more\. Leave one of them out\.$"),
    (["p0", "p1", "x"], r"^An order must be of measured pieces; of 'x', it is not in the table\. Leave it out\.$"),
    (["p0", "p1", "p3"], r"^An order must be of measured pieces; of 'p3', its lightness is unknown\. Leave it out\.$"),
])
def test_an_order_that_cannot_be_judged_is_refused(order, message):
    """A slip of the pen would change the result without a word."""
    with pytest.raises(InvalidInputError, match=message):
        judge_order(pile([20, 40, 60, math.nan]), order)


def test_a_class_is_pooled_and_its_concordance_is_scipys():
    """W from Friedman's test: chi squared = m (n - 1) W. The hardest piece would be lost in the average."""
    rng = np.random.default_rng(3)
    table = pile(np.linspace(15, 90, 9), 1.0)
    orders = {f"learner {at}": as_order(list(np.argsort(np.argsort(np.arange(9) + rng.normal(0, 1.5, 9)))))
              for at in range(6)}
    pooled = pool_orders(table, orders)
    ranks = np.array([[next(at for at, place in enumerate(order) if f"p{piece}" in place) for piece in range(9)]
                      for order in orders.values()])
    assert pooled.concordance == pytest.approx(friedmanchisquare(*ranks.T).statistic / (6 * 8))
    assert pooled.median_tau == pytest.approx(np.median([each.tau for each in pooled.learners.values()]))
    assert [piece.mean_place for piece in pooled.pieces] == sorted(piece.mean_place for piece in pooled.pieces)
    assert sum(piece.moved for piece in pooled.pieces) == sum(len(one.misplaced) for one in pooled.learners.values())


def test_ties_are_corrected_for_in_the_concordance():
    """Learners who call pieces equal would seem to disagree. Friedman's test in scipy corrects the same way."""
    table = pile([10, 20, 30, 40])
    orders = {"a": [["p0", "p1"], "p2", "p3"], "b": ["p0", ["p1", "p2"], "p3"], "c": ["p0", "p1", "p2", "p3"]}
    ranks = np.array([[1, 1, 2, 3], [1, 2, 2, 3], [1, 2, 3, 4]])
    assert pool_orders(table, orders).concordance == pytest.approx(friedmanchisquare(*ranks.T).statistic / (3 * 3))


def test_a_pooled_class_says_what_was_hard_and_names_the_learner_whose_order_cannot_be():
    """A teacher would not find the slip, nor what to teach next."""
    table = pile([20, 40, 60, 80])
    pooled = pool_orders(table, {"Wren": ["p0", "p2", "p1", "p3"], "Finch": ["p0", "p1", "p2", "p3"]})
    assert pooled.sentences == (
        "1 of 2 learners has every piece in order.", "Half of the class reach tau-b 0.83 or more.",
        "They agree with each other to W = 0.90 (1 is complete).", "Hardest: p1 (1 of 2).",
    )
    assert math.isnan(pool_orders(table, {"Wren": ["p0", "p1", "p2"]}).concordance)
    with pytest.raises(InvalidInputError, match=r"^Wren: An order must be of three pieces or more; got 1"):
        pool_orders(table, {"Wren": ["p0"]})
    with pytest.raises(InvalidInputError, match=r"^A class must have a learner; got none\. Enter an order first\.$"):
        pool_orders(table, {})


def test_progress_is_told_for_each_learner_by_date():
    """Somebody's gain would be counted from another learner, or from a later week."""
    table = pile([20, 40, 60, 80])
    good, poor = judge_order(table, ["p0", "p1", "p2", "p3"]), judge_order(table, ["p1", "p0", "p3", "p2"])
    weeks = progress([("2026-03-09", "Wren", good), ("2026-03-02", "Wren", poor), ("2026-03-02", "Finch", good)])
    assert weeks["learner"].tolist() == ["Finch", "Wren", "Wren"]
    assert weeks["in_order"].tolist() == [4, 2, 4]
    assert weeks["gain"].round(3).tolist() == pytest.approx([math.nan, math.nan, 0.667], nan_ok=True)
    assert progress([]).empty


def test_to_call_unequal_pieces_equal_is_not_to_sort_them():
    """Whoever called all equal would have every piece in order; whoever joins near neighbours would be told off."""
    table = pile([20, 22, 60, 80])
    judged = judge_order(table, [["p0", "p1", "p2", "p3"]])
    assert (judged.turned, len(judged.misplaced)) == (5, 2)  # all pairs but p0 and p1, 2 L* apart
    assert judge_order(table, [["p1", "p0"], "p2", "p3"]).turned == 0
    heaps = judge_order(table, [["p0", "p1"], ["p3", "p2"]])
    assert [each.swatch_id for each in heaps.misplaced] in (["p2"], ["p3"])
    pooled = pool_orders(table, {"Wren": [["p0", "p1", "p2", "p3"]], "Jay": ["p0", "p1", "p2", "p3"]})
    assert pooled.sentences[:2] == (
        "1 of 2 learners has every piece in order.", "Half of the class reach tau-b 1.00 or more."
    )
