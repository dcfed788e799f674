"""The public face: a short list of names, each loaded when it is first asked for."""

import ast
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import contrastkit

ROOT = Path(__file__).parents[1]

NAMES = {
    "Breaks", "CalibrationError", "CameraCheck", "Chart", "Choice", "ContrastkitError", "ContrastkitWarning",
    "Desk", "Grouping", "InvalidInputError", "MissingPackageError", "NoReferenceWarning", "NothingFoundWarning",
    "PhotoResult", "Plan", "Rules", "SortedPile", "Stack", "StackScore", "StudyResult", "TooFewSwatchesError",
    "UnreadablePhotoError", "WrittenStudy", "__version__", "balance_chart", "balance_sentence", "check_camera",
    "choose_stacks", "contact_sheet", "contact_sheets", "cut_plan", "equal_breaks", "fixed_breaks",
    "grouping_sentence", "handout_pages", "judge_stack", "make_pack", "make_study", "measure_photo", "measure_photos",
    "natural_breaks", "open_desk", "pairs_chart", "parse_length", "piece_crops", "read_pack", "read_plan",
    "read_table", "rim_seen", "save_pages", "sort_into_groups", "sort_pile", "stack_of", "stack_picture",
    "stacks_sheet", "staircase", "study_chart", "study_pages", "teaching_chart", "value_strip", "value_study",
    "write_plan", "write_study", "write_table",
}  # fmt: skip
HEAVY = ("numpy", "pandas", "scipy", "cv2", "PIL", "matplotlib", "skimage", "colour", "ipywidgets", "ortools")


def loaded_by(statement):
    """The packages of HEAVY that a fresh Python has loaded after a statement."""
    code = f"{statement}\nimport sys\nprint(*[name for name in {HEAVY!r} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stdout.splitlines()[-1].split()


def test_the_face_is_this_list_and_no_other():
    """A name would come or go by accident; whoever changes the face changes this list, too."""
    assert sorted(NAMES) == contrastkit.__all__
    assert sorted(NAMES) == dir(contrastkit)


@pytest.mark.parametrize("name", sorted(NAMES - {"__version__"}))
def test_every_name_leads_to_what_it_names(name):
    """A name in the list would fail only when somebody first uses it."""
    assert getattr(contrastkit, name).__name__ == name
    assert name in vars(contrastkit)  # asked for once


def test_type_checkers_see_the_same_names():
    """An editor would not know a name that works, or know one that does not."""
    tree = ast.parse((ROOT / "contrastkit" / "__init__.py").read_text(encoding="utf-8"))
    (block,) = (node for node in tree.body if isinstance(node, ast.If))
    imported = {(node.module, alias.name) for node in ast.walk(block) if isinstance(node, ast.ImportFrom)
                for alias in node.names}
    assert imported == {(f"contrastkit.{module}", name) for name, module in contrastkit._MODULE.items()}


def test_a_name_that_is_not_there_says_so():
    """A slip would look like a broken package."""
    with pytest.raises(AttributeError, match="module 'contrastkit' has no attribute 'measure_foto'"):
        _ = contrastkit.measure_foto
    with pytest.raises(ImportError, match="cannot import name 'measure_foto'"):
        exec("from contrastkit import measure_foto")


def test_the_version_is_the_projects():
    """A report of a fault would name another version than the one that is installed."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert contrastkit.__version__ == project["version"]


@pytest.mark.parametrize(
    "statement",
    [
        "import contrastkit",
        "import contrastkit; dir(contrastkit); contrastkit.ContrastkitError",
        "import contrastkit.cli",
        "from contrastkit.cli import main; main(['--help'])",
        "from contrastkit.cli import main; main(['study', '--help'])",
        "from contrastkit.cli import main; main(['--version'])",
        "from contrastkit.cli import main; main(['study', 'photo.jpg'])",
    ],
)
def test_asking_costs_nothing(statement):
    """Help would come after a second of loading what it does not need."""
    assert loaded_by(statement) == []


def test_sorting_a_table_loads_no_camera_and_no_charts():
    """Whoever has numbers already would wait for decoders and typefaces."""
    loaded = loaded_by("from contrastkit.cli import main; main(['groups', 'nowhere.csv'])")
    assert not {"cv2", "PIL", "matplotlib", "scipy"} & set(loaded)


def test_measuring_loads_no_charts():
    """Half a second a command, for pictures that nobody asked for."""
    loaded = loaded_by("from contrastkit.cli import main; main(['measure', 'nowhere.jpg', '--out', 'never.csv'])")
    assert "cv2" in loaded
    assert not {"matplotlib", "colour", "skimage", "ipywidgets"} & set(loaded)
