"""
Measure the lightness of painted swatches from photographs, sort them by it, and show them.

    >>> import contrastkit
    >>> contrastkit.fixed_breaks([40, 70])
    dark <= 40 < medium <= 70 < light

Every name below is loaded when it is first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from contrastkit.camera.check import CameraCheck, check_camera
    from contrastkit.camera.pipeline import PhotoResult, StudyResult, measure_photo, measure_photos
    from contrastkit.compose.grouping import Grouping, SortedPile, sort_pile
    from contrastkit.compose.groups import (
        Breaks,
        balance_sentence,
        equal_breaks,
        fixed_breaks,
        grouping_sentence,
        natural_breaks,
        sort_into_groups,
    )
    from contrastkit.errors import (
        CalibrationError,
        ContrastkitError,
        ContrastkitWarning,
        InvalidInputError,
        MissingPackageError,
        NoReferenceWarning,
        NothingFoundWarning,
        TooFewSwatchesError,
        UnreadablePhotoError,
    )
    from contrastkit.keep.tables import read_table, write_table
    from contrastkit.show.chart import Chart
    from contrastkit.show.sheet import balance_chart, contact_sheet, contact_sheets, value_strip
    from contrastkit.show.study import WrittenStudy, make_study, piece_crops, write_study

    __version__: str

_HOME = {
    "camera.check": ("CameraCheck", "check_camera"),
    "camera.pipeline": ("PhotoResult", "StudyResult", "measure_photo", "measure_photos"),
    "compose.grouping": ("Grouping", "SortedPile", "sort_pile"),
    "compose.groups": (
        "Breaks", "balance_sentence", "equal_breaks", "fixed_breaks", "grouping_sentence", "natural_breaks",
        "sort_into_groups",
    ),
    "errors": (
        "CalibrationError", "ContrastkitError", "ContrastkitWarning", "InvalidInputError", "MissingPackageError",
        "NoReferenceWarning", "NothingFoundWarning", "TooFewSwatchesError", "UnreadablePhotoError",
    ),
    "keep.tables": ("read_table", "write_table"),
    "show.chart": ("Chart",),
    "show.sheet": ("balance_chart", "contact_sheet", "contact_sheets", "value_strip"),
    "show.study": ("WrittenStudy", "make_study", "piece_crops", "write_study"),
}  # fmt: skip
_MODULE = {name: module for module, names in _HOME.items() for name in names}

__all__ = [
    "Breaks",
    "CalibrationError",
    "CameraCheck",
    "Chart",
    "ContrastkitError",
    "ContrastkitWarning",
    "Grouping",
    "InvalidInputError",
    "MissingPackageError",
    "NoReferenceWarning",
    "NothingFoundWarning",
    "PhotoResult",
    "SortedPile",
    "StudyResult",
    "TooFewSwatchesError",
    "UnreadablePhotoError",
    "WrittenStudy",
    "__version__",
    "balance_chart",
    "balance_sentence",
    "check_camera",
    "contact_sheet",
    "contact_sheets",
    "equal_breaks",
    "fixed_breaks",
    "grouping_sentence",
    "make_study",
    "measure_photo",
    "measure_photos",
    "natural_breaks",
    "piece_crops",
    "read_table",
    "sort_into_groups",
    "sort_pile",
    "value_strip",
    "write_study",
    "write_table",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("contrastkit")
    if name not in _MODULE:
        raise AttributeError(f"module 'contrastkit' has no attribute {name!r}")
    value = getattr(import_module(f"contrastkit.{_MODULE[name]}"), name)
    globals()[name] = value  # asked for once
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
