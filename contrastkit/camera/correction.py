"""
Colour correction: from a camera's linear red, green, blue to X, Y, Z, fitted on patches of known colour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.errors import CalibrationError, InvalidInputError
from contrastkit.light.lightness import check_triples, luminance_to_lightness

Floats = NDArray[np.float64]
Kind = Literal["matrix", "root-polynomial"]

# IEC 61966-2-1 primaries, Bradford-adapted to D50, as in the sRGB ICC profile: rows X, Y, Z.
SRGB_TO_XYZ_D50 = np.array([
    [0.4360747, 0.3850649, 0.1430804],
    [0.2225045, 0.7168786, 0.0606169],
    [0.0139322, 0.0971045, 0.7141733],
])  # fmt: skip

_KNEE = 216 / 24389  # CIE 15:2004: below this, lightness grows in a straight line
_FINEST = 0.006  # least typical error, in cube roots of light: about 0.7 L*, what charts differ by
_LEAN = (0.006 / 0.1) ** 2  # a patch errs by about 0.7 L*; a coefficient is within about 0.1 of the sRGB matrix
_DOUBT = 4  # typical errors at which a patch counts half
_ROUNDS = 8
_SPARE = 2  # patches to have beyond the unknowns


@dataclass(frozen=True)
class ColourCorrection:
    """
    From linear red, green, blue to X, Y, Z.

    `coefficients` has one row each for X, Y, Z and one column for each channel ("matrix") or each of the
    `root_polynomial_terms` ("root-polynomial"). Both kinds keep to exposure: half the light gives half of X, Y, Z.
    """

    kind: Kind
    coefficients: Floats

    def apply(self, linear_rgb: ArrayLike) -> Floats:
        """Return X, Y, Z, shape (..., 3), of linear red, green, blue of that shape."""
        return np.asarray(_terms(linear_rgb, self.kind) @ self.coefficients.T)


def root_polynomial_terms(linear_rgb: ArrayLike) -> Floats:
    """
    Return R, G, B and the roots of RG, GB, RB, shape (..., 6), of linear red, green, blue.

    Inside a root a negative counts as 0.

    References
    ----------
    G. D. Finlayson, M. Mackiewicz and A. Hurlbert, "Color correction using root-polynomial regression",
    IEEE Transactions on Image Processing 24(5):1460-1470, 2015 (degree 2).

    >>> root_polynomial_terms([4, 1, 9]).tolist()
    [4.0, 1.0, 9.0, 2.0, 3.0, 6.0]
    """
    rgb = check_triples("linear_rgb", linear_rgb)
    root = np.sqrt(np.maximum(rgb, 0))
    return np.concatenate([rgb, root * np.roll(root, -1, axis=-1)], axis=-1)


def fit_correction(
    linear_rgb: ArrayLike, xyz: ArrayLike, *, kind: Kind, white: ArrayLike | None = None
) -> ColourCorrection:
    """
    Return the colour correction that takes linear readings nearest to known X, Y, Z, judged by eye and not by light.

    Errors count as steps of lightness (and of its like in X and Z): an error in a dark patch weighs more than the same
    amount of light in a pale one. A patch several typical errors off hardly counts. The fit leans, about as much
    as a hundredth of one patch, on the plain sRGB matrix, which steadies what few patches decide.

    Parameters
    ----------
    linear_rgb : readings, shape (n, 3), best with a tone curve applied so that greys have equal channels
    xyz : known values, shape (n, 3), white 1
    kind : "matrix" or "root-polynomial"
    white : X, Y, Z that equal channels of 1 must give exactly, so that greys stay grey; free where not given

    Raises
    ------
    InvalidInputError
        The shapes do not fit, a value is missing, or the kind is unknown.
    CalibrationError
        There are fewer patches than the fit has unknowns, and two more.

    Examples
    --------
    >>> rgb = np.array([[1, 1, 1], [0.5, 0.1, 0.1], [0.1, 0.5, 0.1], [0.1, 0.1, 0.5], [0.2, 0.2, 0.2], [0.4, 0.3, 0.1]])
    >>> fit = fit_correction(rgb, rgb * 0.5, kind="matrix")
    >>> bool(np.allclose(fit.apply([0.2, 0.4, 0.6]), [0.1, 0.2, 0.3], atol=0.003))
    True
    """
    terms, wanted = _checked_fit(linear_rgb, xyz, kind)
    whites = [None] * 3 if white is None else [float(w) for w in np.asarray(white, dtype=float)]
    rows = [_fit_row(terms, wanted[:, i], SRGB_TO_XYZ_D50[i], whites[i]) for i in range(3)]
    return ColourCorrection(kind, np.array(rows))


def leave_one_out(linear_rgb: ArrayLike, xyz: ArrayLike, *, kind: Kind, white: ArrayLike | None = None) -> Floats:
    """
    Return, for each patch, the lightness L* that a correction fitted on all the others gives it, shape (n,).

    Raises
    ------
    InvalidInputError, CalibrationError
        As `fit_correction`, of one patch fewer.
    """
    rgb, wanted = check_triples("linear_rgb", linear_rgb), check_triples("xyz", xyz)
    others = ~np.eye(len(rgb), dtype=bool)
    fits = [fit_correction(rgb[o], wanted[o], kind=kind, white=white) for o in others]
    luminance = np.array([fit.apply(reading)[1] for fit, reading in zip(fits, rgb, strict=True)])
    return np.asarray(luminance_to_lightness(np.maximum(luminance, 0)))


def _terms(linear_rgb: ArrayLike, kind: Kind) -> Floats:
    if kind not in get_args(Kind):
        raise InvalidInputError(f"A correction is 'matrix' or 'root-polynomial'; got {kind!r}. Choose one of the two.")
    return root_polynomial_terms(linear_rgb) if kind == "root-polynomial" else check_triples("linear_rgb", linear_rgb)


def _checked_fit(linear_rgb: ArrayLike, xyz: ArrayLike, kind: Kind) -> tuple[Floats, Floats]:
    terms, wanted = _terms(linear_rgb, kind), check_triples("xyz", xyz)
    known = bool(np.isfinite(terms).all() and np.isfinite(wanted).all())
    if terms.ndim != 2 or wanted.shape != (len(terms), 3) or not known:
        raise InvalidInputError(
            f"Readings and known colours must be numbers of shape (n, 3) each; got {np.shape(linear_rgb)} and "
            f"{wanted.shape}. Leave patches that are not usable out of both."
        )
    if len(terms) < terms.shape[1] + _SPARE:
        raise CalibrationError(
            f"A {kind} correction needs at least {terms.shape[1] + _SPARE} usable patches; got {len(terms)}. "
            "Photograph the whole chart, without burnt-out or covered patches."
        )
    return terms, wanted


def _fit_row(terms: Floats, wanted: Floats, prior: Floats, white: float | None) -> Floats:
    """Coefficients of one of X, Y, Z: least squares in cube roots, to first order, with outliers held back."""
    slope = np.maximum(wanted, _KNEE) ** (-2 / 3) / 3  # of the cube root, constant below the knee of L*
    plain = slope * (terms[:, :3] @ prior)
    gain = float((slope * wanted) @ plain) / max(float(plain @ plain), 1e-12)
    row = np.zeros(terms.shape[1])
    row[:3] = gain * prior
    start = row
    for _ in range(_ROUNDS):
        off = np.abs(slope * (terms @ row - wanted))
        trust = 1 / (1 + (off / (_DOUBT * max(1.4826 * float(np.median(off)), _FINEST))) ** 4)
        row = _solve_row(terms, wanted, start, slope**2 * trust, white, _LEAN / gain**2)
    return row


def _solve_row(
    terms: Floats, wanted: Floats, start: Floats, weights: Floats, white: float | None, lean: float
) -> Floats:
    """Weighted least squares, drawn to `start`, and where asked held to sum to `white` (all terms of white are 1)."""
    size = len(start)
    normal, right = (terms.T * weights) @ terms + lean * np.eye(size), (terms.T * weights) @ wanted + lean * start
    if white is None:
        return np.asarray(np.linalg.solve(normal, right))
    border = np.ones((size, 1))
    held = np.block([[normal, border], [border.T, np.zeros((1, 1))]])
    return np.asarray(np.linalg.solve(held, np.append(right, white))[:size])
