"""The notebooks run from top to bottom in a fresh kernel, and hold prose and calls, nothing else."""

from __future__ import annotations

import ast
import re
import warnings
from pathlib import Path

import pytest
from demo import keep_demo

from contrastkit.panels.serving import PAGES

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what Jupyter's packages say of one another while they load
    import nbformat
    from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))

PAGE_NOTEBOOKS = [path for path in NOTEBOOKS if path.stem in PAGES]

each_page = pytest.mark.parametrize("path", PAGE_NOTEBOOKS, ids=lambda path: path.stem)
each_notebook = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


def code_of(path: Path) -> list[str]:
    """Return the source of every code cell."""
    return [cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]


def test_there_are_notebooks_to_test():
    """Tests over an empty folder pass whatever is broken."""
    assert NOTEBOOKS


@pytest.fixture(scope="module")
def demo_pile(tmp_path_factory):
    return keep_demo(tmp_path_factory.mktemp("demo") / "pile.sqlite")


def run(path: Path):
    """Return the notebook, run from top to bottom in a fresh kernel."""
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(path.parent)}}
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the client's own event loop and sockets, on some versions of Python
        client.execute()
    return notebook


def outputs(notebook) -> list:
    return [output for cell in notebook.cells for output in cell.get("outputs", [])]


@each_notebook
def test_runs_from_top_to_bottom_in_a_fresh_kernel(path, tmp_path, monkeypatch):
    """What a reader runs first must not fail on them; the first time, the pile is empty."""
    monkeypatch.setenv("CONTRASTKIT_PILE", str(tmp_path / "pile.sqlite"))
    notebook = run(path)

    counted = [cell.execution_count for cell in notebook.cells if cell.cell_type == "code"]
    assert list(range(1, len(counted) + 1)) == counted
    said = [output.text for output in outputs(notebook) if output.get("name") == "stderr"]
    assert said == []  # a warning in the first look is a bad first look


@each_page
def test_shows_its_panels_on_a_pile(path, demo_pile, monkeypatch):
    """It would run on an empty pile alone, and fail on the first that has pieces."""
    monkeypatch.setenv("CONTRASTKIT_PILE", str(demo_pile))
    shown = outputs(run(path))
    assert [output.get("name") for output in shown if output.output_type == "stream"] == []
    panels = [output for output in shown if "application/vnd.jupyter.widget-view+json" in output.get("data", {})]
    assert len(panels) == (5 if path.stem == "whole_job" else 1)


@each_notebook
def test_is_stored_without_outputs(path):
    """Stored outputs go stale unseen and make every change unreadable."""
    for cell in nbformat.read(path, as_version=4).cells:
        assert cell.get("outputs", []) == []
        assert cell.get("execution_count") is None
    assert path.stat().st_size < 20_000


@each_notebook
def test_says_first_what_question_it_answers(path):
    """A reader decides on the first cell whether to go on."""
    first = nbformat.read(path, as_version=4).cells[0]
    assert first.cell_type == "markdown"
    assert "?" in first.source.splitlines()[0]


@each_notebook
def test_holds_calls_and_no_functions_of_its_own(path):
    """A def in a notebook means that the package lacks a function."""
    for source in code_of(path):
        kinds = {type(node) for node in ast.walk(ast.parse(source))}
        assert not kinds & {ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda, ast.For, ast.While}


@each_notebook
def test_every_call_comes_after_a_word_of_why(path):
    """One call a cell, and prose between: a wall of code is a script."""
    cells = nbformat.read(path, as_version=4).cells
    kinds = [cell.cell_type for cell in cells]
    assert kinds[0] == "markdown"
    assert all(before != "code" or after != "code" for before, after in zip(kinds, kinds[1:], strict=False))


# --- the notebooks that are pages ---


def test_every_page_has_its_notebook():
    """A link in the navigation would lead nowhere."""
    assert {path.stem for path in PAGE_NOTEBOOKS} == set(PAGES)


@each_page
def test_its_title_is_its_question(path):
    """The window of its page would be called by the name of a file."""
    notebook = nbformat.read(path, as_version=4)
    assert notebook.cells[0].source.startswith(f"# {notebook.metadata.title}\n")


@each_page
def test_opens_with_a_picture_that_is_there_and_says_what_it_shows(path):
    """A reader would see a broken picture, or hear nothing of it."""
    first = nbformat.read(path, as_version=4).cells[0].source
    [(words, place)] = re.findall(r"!\[(.*?)\]\((.*?)\)", first)
    assert len(words) > 30
    assert place == f"pictures/{path.stem}.png"
    assert (path.parent / place).is_file()


@each_page
def test_code_is_one_line_a_cell_and_hidden(path):
    """People who do not code would think that they have to read it."""
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code":
            assert "\n" not in cell.source
            assert cell.metadata.jupyter.source_hidden is True


@each_page
def test_says_what_to_do_first_while_the_pile_is_empty(path):
    """The first that anybody sees is an empty pile."""
    words = " ".join(cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "markdown")
    assert "If it is still empty" in " ".join(words.split())


@each_page
def test_links_lead_to_notebooks_that_are_there(path):
    """A reader would be told to go on, and stand before nothing."""
    for cell in nbformat.read(path, as_version=4).cells:
        for place in re.findall(r"(?<!!)\[[^]]*\]\((.*?)\)", cell.source):
            assert (path.parent / place).is_file()


CAUTIONS = {"stack": ("Hot iron", "fumes"), "plan": ("Blade", "Hot iron", "fumes", "Pigment", "Oily rags"),
            "whole_job": ("Blade", "Hot iron", "fumes", "Pigment", "Oily rags"), "photograph": ("Fresh paint",)}


@pytest.mark.parametrize("name", CAUTIONS)
def test_cautions_stand_where_iron_blade_and_pigment_are_used(name):
    """Somebody would be led to work that can hurt, and not be told."""
    path = next(path for path in NOTEBOOKS if path.stem == name)
    words = " ".join(cell.source for cell in nbformat.read(path, as_version=4).cells)
    for each in CAUTIONS[name]:
        assert each in words
