"""The notebooks run from top to bottom in a fresh kernel, and hold prose and calls, nothing else."""

from __future__ import annotations

import ast
import warnings
from pathlib import Path

import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # what Jupyter's packages say of one another while they load
    import nbformat
    from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))

each_notebook = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)


def code_of(path: Path) -> list[str]:
    """Return the source of every code cell."""
    return [cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "code"]


def test_there_are_notebooks_to_test():
    """Tests over an empty folder pass whatever is broken."""
    assert NOTEBOOKS


@each_notebook
def test_runs_from_top_to_bottom_in_a_fresh_kernel(path):
    """What a reader runs first must not fail on them."""
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(path.parent)}}
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of the client's own event loop and sockets, on some versions of Python
        client.execute()

    counted = [cell.execution_count for cell in notebook.cells if cell.cell_type == "code"]
    assert list(range(1, len(counted) + 1)) == counted
    outputs = [output for cell in notebook.cells for output in cell.get("outputs", [])]
    said = [output.text for output in outputs if output.get("name") == "stderr"]
    assert said == []  # a warning in the first look is a bad first look


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
