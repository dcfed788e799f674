"""Imports point down only, and each heavy package stays in its own room."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "contrastkit"

# From the bottom up. Rooms of one layer never import each other. A module or room that is not here fails the tests.
LAYERS = (
    {"errors"},
    {"columns", "lengths"},
    {"light"},
    {"camera", "compose"},
    {"keep"},
    {"show"},
    {"panels"},
    {"cli"},
    {"__init__", "__main__"},
)
LAYER = {name: height for height, names in enumerate(LAYERS) for name in names}

# Packages that only some rooms may import.
AT_HOME = {
    "skimage": {"camera"},
    "cv2": {"camera", "show"},
    "colour": {"camera"},
    "rawpy": {"camera"},
    "pillow_heif": {"camera"},
    "sqlite3": {"keep"},
    "sqlalchemy": {"keep"},
    "psycopg": {"keep"},
    "pyarrow": {"keep"},
    "ortools": {"compose"},
    "matplotlib": {"show", "panels"},
    "ipywidgets": {"panels"},
    "anywidget": {"panels"},
    "traitlets": {"panels"},
    "voila": {"panels"},
    "tornado": {"panels"},
    "jupyter_server": {"panels"},
    "jupyter_client": {"panels"},
    "jupyterlab": {"panels"},
    "ipykernel": {"panels"},
}
ALLOWED = {  # beside the standard library
    "light": {"numpy"},
    "compose": {"numpy", "pandas", "scipy", "ortools"},
}


def modules(package: Path) -> dict[str, ast.Module]:
    """Return the syntax tree of every module by its dotted name inside the package."""
    return {
        ".".join(path.relative_to(package).with_suffix("").parts): ast.parse(path.read_text(encoding="utf-8"))
        for path in sorted(package.rglob("*.py"))
    }


def imports(tree: ast.AST) -> Iterator[str]:
    """Yield the full name of every module imported anywhere in a tree; a leading dot stands for a relative import."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            source = "." * node.level + (node.module or "")
            yield from (f"{source}.{alias.name}" for alias in node.names)


def room(name: str) -> str:
    return name.split(".")[0]


def own(package: Path) -> Iterator[tuple[str, str]]:
    """Yield importing module and imported name, both inside the package, for every import from the package itself."""
    for name, tree in modules(package).items():
        targets = (target for target in imports(tree) if room(target) == "contrastkit")
        yield from ((name, target.removeprefix("contrastkit.")) for target in targets)


def upward_imports(package: Path) -> list[str]:
    return [
        f"{name} -> {target}"
        for name, target in own(package)
        if room(name) != room(target) and LAYER[room(target)] >= LAYER[room(name)]
    ]


def front_door_imports(package: Path) -> list[str]:
    """Imports of the package itself: `import contrastkit`, `from contrastkit import name`, or relative ones."""
    whole = [f"{name} -> {target}" for name, target in own(package) if room(target) not in LAYER]
    relative = [f"{n} -> {t}" for n, tree in modules(package).items() for t in imports(tree) if t.startswith(".")]
    return whole + relative


def strangers(package: Path) -> list[str]:
    """Imports of packages outside the rooms they belong to."""
    wrong = []
    for name, tree in modules(package).items():
        for target in {room(target) for target in imports(tree)} - {"contrastkit", ""} - set(sys.stdlib_module_names):
            if room(name) in ALLOWED and target not in ALLOWED[room(name)]:
                wrong.append(f"{name} -> {target}")
        for target in {room(target) for target in imports(tree)} & set(AT_HOME):
            if room(name) not in AT_HOME[target]:
                wrong.append(f"{name} -> {target}")
    return wrong


def pyplot_imports(package: Path) -> list[str]:
    pictures = ("matplotlib.pyplot", "matplotlib.pylab", "pylab")
    return [name for name, tree in modules(package).items() for target in imports(tree) if target.startswith(pictures)]


class _WithoutTypes(ast.NodeTransformer):
    """Drops what is imported for type checkers only: it is never run, so it ties no knot."""

    def visit_If(self, node: ast.If) -> ast.AST:
        return ast.Pass() if isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING" else node


def import_knot(package: Path) -> list[str]:
    """One circle of modules that import one another, or nothing."""
    trees = {name: _WithoutTypes().visit(tree) for name, tree in modules(package).items()}
    graph: dict[str, set[str]] = {}
    for name, tree in trees.items():
        targets = {target.removeprefix("contrastkit.") for target in imports(tree)}
        graph[name] = (targets | {target.rpartition(".")[0] for target in targets}) & set(trees) - {name}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


NETWORK = {"socket", "ssl", "http", "urllib", "requests", "httpx", "aiohttp", "ftplib", "smtplib", "urllib3"}


def network_imports(package: Path) -> list[str]:
    """Nothing is sent anywhere; that a database on a server is asked is the user's own wish."""
    trees = modules(package).items()
    return [f"{name} -> {target}" for name, tree in trees for target in imports(tree)
            if room(target) in NETWORK and not target.startswith("urllib.parse")]


RULES = [network_imports, upward_imports, front_door_imports, strangers, pyplot_imports, import_knot]


@pytest.mark.parametrize("rule", RULES, ids=lambda f: f.__name__)
def test_the_house_stands(rule):
    """One room would lean on another above or beside it, and neither could be used or tested alone."""
    assert rule(PACKAGE) == []


def test_every_module_has_its_place():
    """A new module would be outside all rules: give it a layer above."""
    assert {room(name) for name in modules(PACKAGE)} <= set(LAYER)


@pytest.fixture
def toy(tmp_path):
    """Build a package from module names and sources."""

    def build(**sources: str) -> Path:
        for name, source in sources.items():
            path = tmp_path / (name.replace("__", "/") + ".py")
            path.parent.mkdir(exist_ok=True)
            path.write_text(source)
        return tmp_path

    return build


@pytest.mark.parametrize(
    ("rule", "module", "source"),
    [
        (network_imports, "keep__store", "from urllib.request import urlopen"),
        (network_imports, "cli", "def f():\n    import socket"),
        (upward_imports, "light__mixing", "from contrastkit.show.chart import Chart"),
        (upward_imports, "light__mixing", "import contrastkit.show.chart"),
        (upward_imports, "compose__groups", "def f():\n    from contrastkit.camera.read import read_photo"),
        (upward_imports, "camera__read", "from contrastkit.compose import groups"),
        (upward_imports, "errors", "from contrastkit.columns import SWATCHES"),
        (front_door_imports, "camera__read", "import contrastkit"),
        (front_door_imports, "camera__read", "from contrastkit import measure_photo"),
        (front_door_imports, "camera__read", "from .find import find_things"),
        (front_door_imports, "camera__read", "from . import find"),
        (strangers, "light__mixing", "import scipy.optimize"),
        (strangers, "compose__groups", "def f():\n    from skimage.filters import threshold_multiotsu"),
        (strangers, "keep__catalogue", "import cv2"),
        (strangers, "show__chart", "import skimage.draw"),
        (strangers, "camera__find", "from matplotlib.figure import Figure"),
        (strangers, "cli", "import ipywidgets as widgets"),
        (pyplot_imports, "show__chart", "import matplotlib.pyplot as plt"),
        (pyplot_imports, "show__chart", "from matplotlib import pyplot"),
        (import_knot, "camera__read", "from contrastkit.camera.find import x"),
    ],
)
def test_each_rule_sees_what_it_forbids(toy, rule, module, source):
    """A rule that finds nothing would pass on any house."""
    others = {"camera__find": "from contrastkit.camera.read import y", "camera__read": "", "errors": ""}
    assert rule(toy(**others)) == []
    assert rule(toy(**others | {module: source})) != []


def test_rules_allow_what_points_down(toy):
    """A rule that finds everything would be switched off."""
    package = toy(
        __init__="from contrastkit.camera.pipeline import measure_photo",
        cli="import contrastkit.show.chart\nfrom contrastkit.compose.groups import Breaks",
        show__chart="from matplotlib.figure import Figure\nfrom contrastkit.columns import SWATCHES",
        camera__pipeline="import cv2\nfrom contrastkit.camera import read\nfrom contrastkit.light.vivid import STEP",
        camera__read="import json, numpy\nfrom contrastkit.errors import UnreadablePhotoError",
        compose__groups="import pandas as pd",
        light__lightness="import numpy as np",
    )
    assert [rule(package) for rule in RULES] == [[]] * len(RULES)


def test_imports_for_type_checkers_tie_no_knot_but_keep_to_the_layers(toy):
    """Two modules could not name each other's classes; or a type would be a back door upwards."""
    for_types = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from contrastkit."
    sections = for_types + "show.report import y"
    assert import_knot(toy(show__report="from contrastkit.show.sections import x", show__sections=sections)) == []
    assert upward_imports(toy(light__mixing=for_types + "show.report import y")) != []


def test_a_module_without_a_place_fails(toy):
    """A new module would slip past the layers."""
    package = toy(attic="", errors="from contrastkit.attic import x")
    assert {room(name) for name in modules(package)} - set(LAYER) == {"attic"}
    with pytest.raises(KeyError, match="attic"):
        upward_imports(package)
