"""
Real photographs of charts, read where a folder of them lies beside the project: ../shared/photos, with truth.json.

On a 24-patch chart each of the 18 colours is measured by a calibration made without it (`camera.check`); beside it what
the chart's greys alone give. On the strip with printed values 12 greys calibrate and the colours go by the
photograph's profile.
"""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

from common import SHARED

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from contrastkit.camera.chart import Chart
    from contrastkit.camera.read import Photo

# What is asked of the mean |ΔL*| of each photograph.
ASKED = {
    "sheet_chart_overhead.jpg": ("24 patches, overhead sheet", 1.0),
    "chart_cabinet_contrasty.jpg": ("24 patches, cabinet", 1.0),
    "chart_cut_by_frame.jpg": ("24 patches, cabinet, last row cut", 1.0),
    "chart_sun_upside_down.jpg": ("24 patches, full sun", 1.5),
    "chart_handheld_rotated.jpg": ("24 patches, hand-held", 2.0),
}
STRIP, STRIP_ASKED = "sheet_30patch_icc.jpg", ("30 patches with printed values", 1.5)
VEILED = "chart_veiled_refuse.jpg"
GREYS_OF_STRIP = slice(9, 21)
_HALF = 25  # full-resolution pixels, half the side of what is read of a patch of the strip


def run() -> list[dict[str, Any]]:
    """Return the errors on every photograph that is there; nothing where there is no such folder."""
    folder = SHARED / "photos"
    if not (folder / "truth.json").exists():
        return []
    results = [{"name": title, "asked": asked, **_chart(folder / name)} for name, (title, asked) in ASKED.items()]
    title, asked = STRIP_ASKED
    results.append({"name": title, "asked": asked, **_strip(folder)})
    return [*results, {"name": "24 patches under a veil", "asked": None, "refusal": _refusal(folder / VEILED)}]


def rows(results: list[dict[str, Any]]) -> list[list[str]]:
    """Return the lines of the table."""
    def number(value: float | None) -> str:
        return "-" if value is None else f"{value:.2f}"

    return [[one["name"], "refused", one["refusal"] or "NOT REFUSED", "", "", ""] if one["asked"] is None else
            [one["name"], f"≤ {one['asked']:.1f}", number(one["mean"]), number(one["largest"]), str(one["colours"]),
             number(one["by_greys"])] for one in results]


def _refusal(path: Path) -> str:
    from contrastkit.camera.pipeline import measure_photo
    from contrastkit.errors import CalibrationError

    try:
        measure_photo(path, reference="chart")
    except CalibrationError:
        return "refused"
    return ""


def _chart(path: Path) -> dict[str, Any]:
    """Return the errors of the usable colours of a 24-patch chart, L*."""
    from contrastkit.camera.check import check_camera

    check = check_camera(path)
    return {"mean": check.colours.mean, "largest": check.colours.largest, "colours": check.colours.count,
            "by_greys": check.colours_by_greys.mean}


def _strip(folder: Path) -> dict[str, Any]:
    """Return the errors of the colours of the strip, L*; the places of its patches are given."""
    import numpy as np

    from contrastkit.camera.pipeline import find
    from contrastkit.camera.read import read_photo
    from contrastkit.camera.reference import calibrate_on_greys, chart_linear
    from contrastkit.light.lightness import luminance_to_lightness

    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))[STRIP]
    photo = read_photo(folder / STRIP)
    known = np.array(truth["L_ref"])
    places = np.array(truth["centres_xy"], dtype=float)[:, ::-1] / photo.reduction
    nominal = np.array([_patch(photo, place) for place in places])
    greys = GREYS_OF_STRIP
    base = calibrate_on_greys(photo, find(photo), nominal[greys], known[greys], places[greys])
    strip = cast("Chart", SimpleNamespace(centres=places))  # all of a chart that the next step looks at
    even = chart_linear(photo, strip, nominal, base)
    under_d50 = base.to_xyz(even) @ _to_d50().T  # the values are printed for D50
    measured = luminance_to_lightness(np.maximum(under_d50[:, 1], 0))
    error = np.abs(np.delete(np.asarray(measured - known), np.arange(len(known))[greys]))
    return {"mean": float(error.mean()), "largest": float(error.max()), "colours": len(error), "by_greys": None}


def _to_d50() -> NDArray[np.float64]:
    """Return the Bradford matrix from XYZ under D65 to XYZ under D50."""
    import numpy as np
    from colour.adaptation import matrix_chromatic_adaptation_VonKries

    from contrastkit.camera.chart import D50
    from contrastkit.light.lightness import D65_WHITE

    return np.asarray(matrix_chromatic_adaptation_VonKries(np.array(D65_WHITE), np.array(D50), transform="Bradford"))


def _patch(photo: Photo, place: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean linear light of a patch by the photograph's own profile."""
    import numpy as np

    half = max(1, _HALF // photo.reduction)
    row, col = place.round().astype(int)
    codes = photo.codes[row - half:row + half, col - half:col + half]
    tables = photo.space.luts(photo.bits)
    return np.array([tables[one][codes[..., one]].mean() for one in range(3)])
