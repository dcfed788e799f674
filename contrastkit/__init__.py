"""
Measure the lightness of painted swatches from photographs, sort them by it, stack them, plan blocks, and show it all.

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
    from contrastkit.compose.choosing import Choice, choose_stacks
    from contrastkit.compose.cutting import cut_plan
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
    from contrastkit.compose.plan import Plan, read_plan
    from contrastkit.compose.rules import Rules
    from contrastkit.compose.seams import rim_seen
    from contrastkit.compose.stacks import Stack, StackScore, judge_stack, stack_of
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
    from contrastkit.lengths import parse_length
    from contrastkit.panels.desk import Desk, open_desk
    from contrastkit.show.chart import Chart, save_pages
    from contrastkit.show.choice import stacks_sheet
    from contrastkit.show.class_pack import make_pack
    from contrastkit.show.cutlist import write_plan
    from contrastkit.show.handout_kinds import handout_pages
    from contrastkit.show.lessons import teaching_chart
    from contrastkit.show.pack_file import read_pack
    from contrastkit.show.pairs import pairs_chart
    from contrastkit.show.sheet import balance_chart, contact_sheet, contact_sheets, value_strip
    from contrastkit.show.stack import stack_picture, staircase
    from contrastkit.show.studies import study_chart, study_pages, value_study
    from contrastkit.show.study import WrittenStudy, make_study, piece_crops, write_study

    __version__: str

_HOME = {
    "camera.check": ("CameraCheck", "check_camera"),
    "camera.pipeline": ("PhotoResult", "StudyResult", "measure_photo", "measure_photos"),
    "compose.choosing": ("Choice", "choose_stacks"),
    "compose.cutting": ("cut_plan",),
    "compose.grouping": ("Grouping", "SortedPile", "sort_pile"),
    "compose.groups": (
        "Breaks", "balance_sentence", "equal_breaks", "fixed_breaks", "grouping_sentence", "natural_breaks",
        "sort_into_groups",
    ),
    "compose.plan": ("Plan", "read_plan"),
    "compose.rules": ("Rules",),
    "compose.seams": ("rim_seen",),
    "compose.stacks": ("Stack", "StackScore", "judge_stack", "stack_of"),
    "errors": (
        "CalibrationError", "ContrastkitError", "ContrastkitWarning", "InvalidInputError", "MissingPackageError",
        "NoReferenceWarning", "NothingFoundWarning", "TooFewSwatchesError", "UnreadablePhotoError",
    ),
    "keep.tables": ("read_table", "write_table"),
    "lengths": ("parse_length",),
    "panels.desk": ("Desk", "open_desk"),
    "show.chart": ("Chart", "save_pages"),
    "show.choice": ("stacks_sheet",),
    "show.class_pack": ("make_pack",),
    "show.cutlist": ("write_plan",),
    "show.handout_kinds": ("handout_pages",),
    "show.lessons": ("teaching_chart",),
    "show.pack_file": ("read_pack",),
    "show.pairs": ("pairs_chart",),
    "show.sheet": ("balance_chart", "contact_sheet", "contact_sheets", "value_strip"),
    "show.stack": ("stack_picture", "staircase"),
    "show.studies": ("study_chart", "study_pages", "value_study"),
    "show.study": ("WrittenStudy", "make_study", "piece_crops", "write_study"),
}  # fmt: skip
_MODULE = {name: module for module, names in _HOME.items() for name in names}

__all__ = [
    "Breaks",
    "CalibrationError",
    "CameraCheck",
    "Chart",
    "Choice",
    "ContrastkitError",
    "ContrastkitWarning",
    "Desk",
    "Grouping",
    "InvalidInputError",
    "MissingPackageError",
    "NoReferenceWarning",
    "NothingFoundWarning",
    "PhotoResult",
    "Plan",
    "Rules",
    "SortedPile",
    "Stack",
    "StackScore",
    "StudyResult",
    "TooFewSwatchesError",
    "UnreadablePhotoError",
    "WrittenStudy",
    "__version__",
    "balance_chart",
    "balance_sentence",
    "check_camera",
    "choose_stacks",
    "contact_sheet",
    "contact_sheets",
    "cut_plan",
    "equal_breaks",
    "fixed_breaks",
    "grouping_sentence",
    "handout_pages",
    "judge_stack",
    "make_pack",
    "make_study",
    "measure_photo",
    "measure_photos",
    "natural_breaks",
    "open_desk",
    "pairs_chart",
    "parse_length",
    "piece_crops",
    "read_pack",
    "read_plan",
    "read_table",
    "rim_seen",
    "save_pages",
    "sort_into_groups",
    "sort_pile",
    "stack_of",
    "stack_picture",
    "stacks_sheet",
    "staircase",
    "study_chart",
    "study_pages",
    "teaching_chart",
    "value_strip",
    "value_study",
    "write_plan",
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
