"""
Other eyes and other lamps: what becomes of colours, and with them of lightness, for who sees or lights them otherwise.

Both are a matrix on linear sRGB whose rows sum to 1, so greys stay as they are. Lightness does not: a red is darker to
whoever lacks the eye's long-wave cones, and lighter by lamplight, where there is more red light than blue.

    EYES    the colour-vision deficiencies: protan, deutan, tritan
    LAMPS   the warm lamps: filament (CIE illuminant A, 2856 K), LED (CIE illuminant LED-B1, 2733 K)

How the lamps' matrices were made, and how far they are off
-----------------------------------------------------------
A picture knows three numbers of a colour where a lamp needs its spectrum, so a matrix can only be right on the whole.
Each was fitted on the 99 colour evaluation samples of CIE 224:2017, which stand for 105 000 measured things. Their XYZ
(2°, 5 nm from 380 to 780 nm) under D65 became linear sRGB; their XYZ under the lamp was adapted to D65 by CAT16 with
the white going to white, as the eye does that takes the cloth's white for white. Rows for X, Y and Z, each relative to
white and with a sum of 1, are the least squares of the cube root's first order: each sample counts by the slope of
CIELAB's f at its own place. `tests/test_vision.py` makes them again from the spectra.

Error of L* on the 24-patch chart, which the fit has not seen, where L* moves by 2.9 and 3.2 root mean square, up to
6.7: filament 0.1 root mean square, 0.3 at most; LED 0.7 and 2.1. On 187 measured paints and things: 0.1 and 0.4; 0.8
and 3.1. Hue and chroma are a hint only: 3 to 4 of CIELAB's difference on the mean, 15 at most, in deep blues. What a
photograph got wrong of a colour, or a screen cannot show, comes on top.

The tritan matrices are, as their authors say, only an approximation: the model has no eyes without short-wave cones.

References
----------
G. M. Machado, M. M. Oliveira and L. A. F. Fernandes, A physiologically-based model for simulation of color vision
deficiency, IEEE Transactions on Visualization and Computer Graphics 15(6), 1291-1298, 2009: the eyes' matrices.
CIE 015:2018, Colorimetry, 4th edition: illuminants D65, A and LED-B1.
CIE 224:2017, Colour fidelity index for accurate scientific use: the samples.
C. Li and others, Comprehensive color solutions: CAM16, CAT16 and CAM16-UCS, Color Research and Application 42(6),
703-718, 2017.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import SRGB, check_triples, lab_to_xyz, xyz_to_lab

Array = NDArray[np.float64]
Rows = tuple[tuple[float, float, float], ...]

# Machado, Oliveira and Fernandes 2009: from full sight in tenths to none of that cone, as the authors print them.
_PROTAN: tuple[Rows, ...] = (
    ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    ((0.856167, 0.182038, -0.038205), (0.029342, 0.955115, 0.015544), (-0.002880, -0.001563, 1.004443)),
    ((0.734766, 0.334872, -0.069637), (0.051840, 0.919198, 0.028963), (-0.004928, -0.004209, 1.009137)),
    ((0.630323, 0.465641, -0.095964), (0.069181, 0.890046, 0.040773), (-0.006308, -0.007724, 1.014032)),
    ((0.539009, 0.579343, -0.118352), (0.082546, 0.866121, 0.051332), (-0.007136, -0.011959, 1.019095)),
    ((0.458064, 0.679578, -0.137642), (0.092785, 0.846313, 0.060902), (-0.007494, -0.016807, 1.024301)),
    ((0.385450, 0.769005, -0.154455), (0.100526, 0.829802, 0.069673), (-0.007442, -0.022190, 1.029632)),
    ((0.319627, 0.849633, -0.169261), (0.106241, 0.815969, 0.077790), (-0.007025, -0.028051, 1.035076)),
    ((0.259411, 0.923008, -0.182420), (0.110296, 0.804340, 0.085364), (-0.006276, -0.034346, 1.040622)),
    ((0.203876, 0.990338, -0.194214), (0.112975, 0.794542, 0.092483), (-0.005222, -0.041043, 1.046265)),
    ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
)
_DEUTAN: tuple[Rows, ...] = (
    ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    ((0.866435, 0.177704, -0.044139), (0.049567, 0.939063, 0.011370), (-0.003453, 0.007233, 0.996220)),
    ((0.760729, 0.319078, -0.079807), (0.090568, 0.889315, 0.020117), (-0.006027, 0.013325, 0.992702)),
    ((0.675425, 0.433850, -0.109275), (0.125303, 0.847755, 0.026942), (-0.007950, 0.018572, 0.989378)),
    ((0.605511, 0.528560, -0.134071), (0.155318, 0.812366, 0.032316), (-0.009376, 0.023176, 0.986200)),
    ((0.547494, 0.607765, -0.155259), (0.181692, 0.781742, 0.036566), (-0.010410, 0.027275, 0.983136)),
    ((0.498864, 0.674741, -0.173604), (0.205199, 0.754872, 0.039929), (-0.011131, 0.030969, 0.980162)),
    ((0.457771, 0.731899, -0.189670), (0.226409, 0.731012, 0.042579), (-0.011595, 0.034333, 0.977261)),
    ((0.422823, 0.781057, -0.203881), (0.245752, 0.709602, 0.044646), (-0.011843, 0.037423, 0.974421)),
    ((0.392952, 0.823610, -0.216562), (0.263559, 0.690210, 0.046232), (-0.011910, 0.040281, 0.971630)),
    ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
)
_TRITAN: tuple[Rows, ...] = (
    ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    ((0.926670, 0.092514, -0.019184), (0.021191, 0.964503, 0.014306), (0.008437, 0.054813, 0.936750)),
    ((0.895720, 0.133330, -0.029050), (0.029997, 0.945400, 0.024603), (0.013027, 0.104707, 0.882266)),
    ((0.905871, 0.127791, -0.033662), (0.026856, 0.941251, 0.031893), (0.013410, 0.148296, 0.838294)),
    ((0.948035, 0.089490, -0.037526), (0.014364, 0.946792, 0.038844), (0.010853, 0.193991, 0.795156)),
    ((1.017277, 0.027029, -0.044306), (-0.006113, 0.958479, 0.047634), (0.006379, 0.248708, 0.744913)),
    ((1.104996, -0.046633, -0.058363), (-0.032137, 0.971635, 0.060503), (0.001336, 0.317922, 0.680742)),
    ((1.193214, -0.109812, -0.083402), (-0.058496, 0.979410, 0.079086), (-0.002346, 0.403492, 0.598854)),
    ((1.257728, -0.139648, -0.118081), (-0.078003, 0.975409, 0.102594), (-0.003316, 0.501214, 0.502102)),
    ((1.278864, -0.125333, -0.153531), (-0.084748, 0.957674, 0.127074), (-0.000989, 0.601151, 0.399838)),
    ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602), (0.004733, 0.691367, 0.303900)),
)
_EYES = {"protan": _PROTAN, "deutan": _DEUTAN, "tritan": _TRITAN}
EYES = tuple(_EYES)

_LAMPS: dict[str, Rows] = {
    "filament": ((1.1766, -0.2169, 0.0403), (0.1082, 0.9454, -0.0536), (-0.0024, 0.1289, 0.8735)),
    "LED": ((1.0880, -0.1317, 0.0437), (0.1512, 0.9374, -0.0886), (0.0046, 0.0951, 0.9003)),
}
LAMPS = tuple(_LAMPS)


def eyes_matrix(eyes: str, *, severity: float = 1.0) -> Array:
    """
    Return what turns linear sRGB into the linear sRGB that looks so to somebody with a colour-vision deficiency.

    Parameters
    ----------
    eyes : "protan", "deutan" or "tritan": whose long-, middle- or short-wave cones are changed
    severity : 0 for usual sight to 1 for none of that cone; between the published tenths evenly between

    Returns
    -------
    ndarray of float, shape (3, 3)
        Rows sum to 1 to within a millionth, so greys stay as they are.

    Raises
    ------
    InvalidInputError
        None of these eyes, or a severity outside 0-1.

    References
    ----------
    Machado and others 2009; see the module.

    >>> eyes_matrix("protan")[0].tolist()
    [0.152286, 1.052583, -0.204868]
    """
    if eyes not in _EYES:
        raise InvalidInputError(f"eyes must be one of {', '.join(EYES)}; got {eyes!r}. Pick one of these.")
    if not 0 <= severity <= 1:
        raise InvalidInputError(f"severity must lie in 0-1; got {severity:g}. Pass 0 for usual sight, 1 for the most.")
    tenths = 10 * severity
    below = min(math.floor(tenths), 9)
    low, high = (np.array(_EYES[eyes][place], float) for place in (below, below + 1))
    return np.asarray(low + (tenths - below) * (high - low))


def lamp_matrix(lamp: str = "LED") -> Array:
    """
    Return what turns linear sRGB, as by daylight, into what it becomes by a warm lamp for an eye used to that lamp.

    The cloth's white stays white: what is left is how colours move against it and against each other. The module says
    how it was made and how far it is off.

    Parameters
    ----------
    lamp : "LED" or "filament"

    Returns
    -------
    ndarray of float, shape (3, 3)
        Rows sum to 1, so greys stay as they are.

    Raises
    ------
    InvalidInputError
        No lamp of ours.

    >>> lamp_matrix("filament")[0].tolist()
    [1.1766, -0.2169, 0.0403]
    """
    if lamp not in _LAMPS:
        raise InvalidInputError(f"A lamp must be one of {', '.join(LAMPS)}; got {lamp!r}. Pick one of these.")
    return np.array(_LAMPS[lamp])


def as_seen_by(linear: ArrayLike, eyes: str, *, severity: float = 1.0) -> Array:
    """
    Return colours as they look to somebody with a colour-vision deficiency.

    Parameters
    ----------
    linear : linear sRGB, 0-1, shape (..., 3)
    eyes, severity : as for `eyes_matrix`

    Returns
    -------
    ndarray of float, shape (..., 3)
        Linear sRGB, clipped to 0-1 after all; unknown stays unknown.

    Raises
    ------
    InvalidInputError
        None of these eyes, a severity outside 0-1, or not three channels.

    References
    ----------
    Machado and others 2009; see the module.

    >>> as_seen_by([0.5, 0.1, 0.1], "protan").round(4).tolist()
    [0.1609, 0.1458, 0.0984]
    """
    return through(linear, eyes_matrix(eyes, severity=severity))


def by_lamp(linear: ArrayLike, lamp: str = "LED") -> Array:
    """
    Return colours as they look by a warm lamp, to an eye that is used to it.

    Parameters
    ----------
    linear : linear sRGB as by daylight, 0-1, shape (..., 3)
    lamp : as for `lamp_matrix`

    Returns
    -------
    ndarray of float, shape (..., 3)
        Linear sRGB, clipped to 0-1 after all; unknown stays unknown.

    Raises
    ------
    InvalidInputError
        No lamp of ours, or not three channels.

    >>> by_lamp([0.5, 0.1, 0.1]).round(4).tolist()
    [0.5352, 0.1605, 0.1018]
    """
    return through(linear, lamp_matrix(lamp))


def through(linear: ArrayLike, matrix: Array) -> Array:
    """
    Return linear sRGB through one of these matrices, clipped to 0-1; shape (..., 3).

    Raises
    ------
    InvalidInputError
        Not three channels.

    >>> through([0.2, 0.2, 0.2], lamp_matrix()).round(3).tolist()
    [0.2, 0.2, 0.2]
    """
    return np.clip(check_triples("linear", linear) @ matrix.T, 0, 1)


def lab_through(lab: ArrayLike, matrix: Array) -> Array:
    """
    Return CIELAB (D65) through one of these matrices: of a measured mean what `through` is of a pixel, shape (..., 3).

    Nothing is clipped, since a number needs no screen; unknown stays unknown.

    Raises
    ------
    InvalidInputError
        Not three numbers.

    >>> lab_through([40.74, 46.0, 28.0], lamp_matrix("filament")).round(1).tolist()
    [46.8, 39.4, 35.7]
    """
    to_xyz = np.array(SRGB.to_xyz)
    changed = to_xyz @ matrix @ np.linalg.inv(to_xyz)
    return xyz_to_lab(lab_to_xyz(lab) @ changed.T)
