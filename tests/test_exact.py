"""Numbers a + b√2: arithmetic, order and areas without rounding."""

from __future__ import annotations

import math
from decimal import Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.compose.exact import SQRT2, Root2, area, turned_by_45, turned_by_90

parts = st.fractions(min_value=-1000, max_value=1000, max_denominator=64)
numbers = st.builds(Root2, parts, parts)
points = st.tuples(numbers, numbers)
ONE, ZERO = Root2(1), Root2()


def in_decimals(number: Root2) -> Decimal:
    """The number to 60 digits by the decimal module, an independent judge."""
    with localcontext() as context:
        context.prec = 60
        a, b = (Decimal(part.numerator) / part.denominator for part in (number.a, number.b))
        return a + b * Decimal(2).sqrt()


def test_root_two_squared_is_two():
    """Nothing else here would be right."""
    assert SQRT2 * SQRT2 == 2
    assert (ONE + SQRT2) * (SQRT2 - 1) == 1
    assert 1 / SQRT2 == SQRT2 / 2
    assert Root2(3, -1) == 3 - SQRT2 and 2 + SQRT2 == SQRT2 + 2 and Root2(0, 2) == 2 * SQRT2
    assert abs(Root2(1, -1)) == Root2(-1, 1)


@given(numbers, numbers, numbers)
def test_it_is_a_field(x, y, z):
    """Areas added up in another order would differ."""
    assert x + y == y + x and (x + y) + z == x + (y + z)
    assert x * y == y * x and (x * y) * z == x * (y * z)
    assert x * (y + z) == x * y + x * z
    assert x - y == -(y - x)
    assert y == 0 or (x / y) * y == x


@given(numbers, numbers)
def test_order_agrees_with_sixty_digits(x, y):
    """The larger of two sides would be the smaller; floats cannot tell 3 - 2√2 powers apart."""
    left, right = in_decimals(x), in_decimals(y)

    assert (x < y, x <= y, x == y, x >= y, x > y) == (
        left < right, x == y or left < right, (x.a, x.b) == (y.a, y.b), x == y or left > right, left > right
    )


def test_order_holds_where_floats_give_up():
    """(√2 - 1)^40 is 4.9e-16, and its two parts are 5e14 each: in floats it is nothing, or less."""
    tiny = ONE
    for _ in range(40):
        tiny = tiny * (SQRT2 - 1)

    assert 0 < tiny < Root2(Fraction(1, 10**15))
    assert float(tiny) == pytest.approx((math.sqrt(2) - 1) ** 40, rel=1e-13)  # forty roundings


@given(numbers)
def test_floats_are_the_nearest_but_for_a_place_or_two(x):
    """Corners that are drawn would lie beside those that were worked out."""
    assert float(x) == pytest.approx(float(in_decimals(x)), rel=4e-16 * 2, abs=0)


@given(parts)
def test_without_a_root_it_is_the_fraction_itself(a):
    """A set of sides would hold 84 twice."""
    assert Root2(a) == a and hash(Root2(a)) == hash(a) and {Root2(a), a} == {a}
    assert repr(Root2(a)) == f"Root2({a})"


def test_it_is_unequal_to_what_is_no_number():
    """Comparing with text would raise, or be true."""
    assert SQRT2 != "1.414"
    assert Root2(1) != SQRT2


@pytest.mark.parametrize("clash", [lambda: SQRT2 + 0.5, lambda: 0.5 * SQRT2, lambda: SQRT2 < 1.5, lambda: 1.5 / SQRT2,
                                   lambda: SQRT2 - 0.5, lambda: SQRT2 / 0.5, lambda: SQRT2 >= 1.5, lambda: 0.5 - SQRT2,
                                   lambda: SQRT2 > 1.5, lambda: SQRT2 <= 1.5])
def test_floats_are_kept_out(clash):
    """A rounded number would look exact from then on."""
    with pytest.raises(TypeError, match="unsupported operand|not supported between"):
        clash()


def test_floats_are_kept_out_of_the_making_too():
    """The same by the front door."""
    with pytest.raises(TypeError, match="whole numbers or fractions; got 0.5. Turn it into a Fraction"):
        Root2(0.5)


def test_nothing_can_be_divided_by_zero():
    """It would be some number."""
    with pytest.raises(ZeroDivisionError, match="0"):
        ONE / ZERO


def test_it_cannot_be_changed():
    """A corner would move under those who hold it."""
    with pytest.raises(AttributeError, match="cannot assign"):
        SQRT2.a = Fraction(1)


@given(st.lists(points, min_size=3, max_size=6), points)
def test_areas_do_not_depend_on_turning_moving_or_direction(corners, shift):
    """A triangle would weigh more at the right than at the top."""
    moved = [(x + shift[0], y + shift[1]) for x, y in corners]

    expected = area(corners)

    assert area(moved) == area(corners[::-1]) == expected
    assert area([turned_by_45(corner) for corner in corners]) == expected
    assert area([turned_by_90(corner) for corner in corners]) == expected


@given(points)
def test_two_turns_of_45_degrees_are_one_of_90(point):
    """Blocks with two surrounds would stand askew."""
    assert turned_by_45(turned_by_45(point)) == turned_by_90(point)
    assert turned_by_90(turned_by_90(point)) == (-point[0], -point[1])


def test_the_area_of_a_triangle_is_half_its_base_times_its_height():
    """All areas would be out by a factor, and still agree with one another."""
    assert area([(ZERO, ZERO), (SQRT2, ZERO), (ZERO, Root2(3))]) == Root2(0, Fraction(3, 2))
