"""
Numbers of the form a + b√2, exactly.

Every corner of a block, however many surrounds it has, lies at such numbers: squares stand straight or are turned by
45 degrees, and nothing else is ever done to them. So areas can be added up and compared without rounding.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from numbers import Rational

Plain = int | Fraction


@dataclass(frozen=True, eq=False)
class Root2:
    """
    The number a + b√2, with a and b fractions.

    It adds, subtracts, multiplies, divides and compares exactly, also with whole numbers and fractions; never with
    floats, which would make it look exact when it is not.

    Examples
    --------
    >>> (Root2(1) + SQRT2) * (Root2(-1) + SQRT2)
    Root2(1)
    >>> Root2(3, -2) > 0, float(Root2(0, 1))
    (True, 1.4142135623730951)
    """

    a: Fraction
    b: Fraction

    def __init__(self, a: Plain = 0, b: Plain = 0) -> None:
        for part in (a, b):
            if not isinstance(part, Rational):
                raise TypeError(f"a and b must be whole numbers or fractions; got {part!r}. Turn it into a Fraction.")
        object.__setattr__(self, "a", Fraction(a))
        object.__setattr__(self, "b", Fraction(b))

    def __repr__(self) -> str:
        return f"Root2({self.a})" if self.b == 0 else f"Root2({self.a}, {self.b})"

    def __add__(self, other: Root2 | Plain) -> Root2:
        if (right := _root2(other)) is None:
            return NotImplemented
        return Root2(self.a + right.a, self.b + right.b)

    def __sub__(self, other: Root2 | Plain) -> Root2:
        if (right := _root2(other)) is None:
            return NotImplemented
        return Root2(self.a - right.a, self.b - right.b)

    def __mul__(self, other: Root2 | Plain) -> Root2:
        if (right := _root2(other)) is None:
            return NotImplemented
        return Root2(self.a * right.a + 2 * self.b * right.b, self.a * right.b + self.b * right.a)

    def __truediv__(self, other: Root2 | Plain) -> Root2:
        if (right := _root2(other)) is None:
            return NotImplemented
        norm = right.a**2 - 2 * right.b**2  # zero only for zero, as √2 is no fraction
        return self * Root2(right.a / norm, -right.b / norm)

    def __rsub__(self, other: Plain) -> Root2:
        return -self + other

    def __rtruediv__(self, other: Plain) -> Root2:
        return NotImplemented if (left := _root2(other)) is None else left / self

    __radd__ = __add__
    __rmul__ = __mul__

    def __neg__(self) -> Root2:
        return Root2(-self.a, -self.b)

    def __abs__(self) -> Root2:
        return -self if self.sign < 0 else self

    @property
    def sign(self) -> int:
        """-1, 0 or 1, without rounding: where a and b pull apart, the larger of a² and 2b² wins."""
        left, right = _sign(self.a), _sign(self.b)
        if left * right >= 0:
            return left or right
        return left * _sign(self.a**2 - 2 * self.b**2)

    def __eq__(self, other: object) -> bool:
        right = _root2(other)
        return NotImplemented if right is None else (self.a, self.b) == (right.a, right.b)

    def __hash__(self) -> int:
        return hash(self.a) if self.b == 0 else hash((self.a, self.b))

    def __lt__(self, other: Root2 | Plain) -> bool:
        return NotImplemented if _root2(other) is None else (self - other).sign < 0

    def __le__(self, other: Root2 | Plain) -> bool:
        return NotImplemented if _root2(other) is None else (self - other).sign <= 0

    def __gt__(self, other: Root2 | Plain) -> bool:
        return NotImplemented if _root2(other) is None else (self - other).sign > 0

    def __ge__(self, other: Root2 | Plain) -> bool:
        return NotImplemented if _root2(other) is None else (self - other).sign >= 0

    def __float__(self) -> float:
        """The nearest float but for the last place or two, also where a and b√2 nearly cancel."""
        if self.a * self.b < 0:
            return float(self.a**2 - 2 * self.b**2) / float(Root2(self.a, -self.b))
        return float(self.a) + float(self.b) * math.sqrt(2)


SQRT2 = Root2(0, 1)
Point = tuple[Root2, Root2]


def _root2(number: object) -> Root2 | None:
    if isinstance(number, Root2):
        return number
    return Root2(Fraction(number)) if isinstance(number, Rational) else None


def _sign(number: Fraction) -> int:
    return (number > 0) - (number < 0)


def area(corners: Sequence[Point]) -> Root2:
    """
    Return the area of the polygon with these corners, whichever way round they run.

    >>> area([(Root2(0), Root2(0)), (Root2(0), SQRT2), (SQRT2, SQRT2), (SQRT2, Root2(0))])
    Root2(2)
    """
    twice = sum((x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairwise([*corners, *corners[:1]])), Root2())
    return abs(twice) / 2


def turned_by_45(point: Point) -> Point:
    """
    Return the point turned by 45 degrees about the origin, anticlockwise where y points up.

    >>> turned_by_45((SQRT2, Root2(0)))
    (Root2(1), Root2(1))
    """
    x, y = point
    return (x - y) / SQRT2, (x + y) / SQRT2


def turned_by_90(point: Point) -> Point:
    """
    Return the point turned by 90 degrees about the origin, anticlockwise where y points up.

    >>> turned_by_90((Root2(1), Root2(0)))
    (Root2(0), Root2(1))
    """
    x, y = point
    return -y, x
