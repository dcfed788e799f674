"""
Notebooks opened for people who do not code: as pages in a browser, or in JupyterLab.

Pages and notebooks are copies, shown to this computer only, and run by the Python that contrastkit is installed in.
What serves them is the extra `notebook`; it is loaded here, when it is asked for.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
import tempfile
import webbrowser
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from difflib import get_close_matches
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.errors import InvalidInputError, MissingPackageError
from contrastkit.keep.engines import VARIABLE
from contrastkit.keep.files import StrPath
from contrastkit.keep.sources import catalogue_at, is_catalogue

if TYPE_CHECKING:
    from contrastkit.panels.guard import Keys

PAGES = {
    "whole_job": "Whole job", "photograph": "Photograph", "sort": "Sort", "explore": "Explore", "stack": "Stack",
    "plan": "Plan", "teach": "Teach",
}  # fmt: skip
"""The notebooks that are pages, in the order of the work, and what each is called in a page's navigation."""
FIRST = "whole_job"
_NEEDED = {"pages": ("voila", "jupyter_server", "ipykernel", "anywidget"),
           "JupyterLab": ("jupyterlab", "ipykernel", "anywidget")}
_PACKAGE = Path(__file__).parents[1]
_SETTINGS = Path(__file__).with_name("lab")

Opened = Callable[[str], object]
"""Called with the address once it can be opened."""


def page_named(name: str) -> str:
    """
    Return the name of the page that is meant.

    Raises
    ------
    InvalidInputError
        There is none of that name; the nearest is named.

    >>> page_named("Whole-Job.ipynb")
    'whole_job'
    """
    plain = name.strip().lower().removesuffix(".ipynb").replace("-", "_").replace(" ", "_")
    if plain in PAGES:
        return plain
    near = get_close_matches(plain, PAGES, n=1, cutoff=0.5)
    meant = f"Did you mean {near[0]}? " if near else ""
    raise InvalidInputError(f"A page must be one of {', '.join(PAGES)}; got {name[:80]!r}. {meant}Pick one of these.")


def notebooks_folder() -> Path:
    """
    Return the folder with the notebooks: in the installed package, or beside it in a checkout.

    Raises
    ------
    MissingPackageError
        They are not there.

    >>> (notebooks_folder() / "sort.ipynb").is_file()
    True
    """
    for folder in (_PACKAGE / "notebooks", _PACKAGE.parent / "notebooks"):
        if all((folder / f"{name}.ipynb").is_file() for name in PAGES):
            return folder
    raise MissingPackageError(
        f"The notebooks must be in the package or beside it; they are not in {str(_PACKAGE)!r}. "
        "Install contrastkit again: pip install --force-reinstall 'contrastkit[notebook]'"
    )


def serve_pages(
    page: str = FIRST, *, where: StrPath | None = None, port: int = 0, browser: bool = True, opened: Opened = print
) -> None:
    """
    Serve the notebooks as pages to this computer, until the process is told to stop.

    Parameters
    ----------
    page : the one to open first
    where : the catalogue; the usual one if not given
    port : where to listen on 127.0.0.1; any that is free, if 0
    browser : whether a browser is opened
    opened : called with the address, which holds the key, once pages can be asked for

    Raises
    ------
    InvalidInputError
        There is no such page, the port is taken, or `where` is no place of a catalogue.
    MissingPackageError
        What serves pages is not installed.
    """
    page, environment = page_named(page), kernel_environment(where)
    check_packages("pages")
    from contrastkit.panels.page_server import run

    def ready(keys: Keys) -> None:
        opened(keys.address(page))
        if browser:
            webbrowser.open(keys.address_for_once(page))

    with _copied(notebooks_folder()) as folder, _port_named(port):
        run(folder, PAGES, environment=environment, port=port, ready=ready)


def serve_lab(
    page: str = FIRST, *, where: StrPath | None = None, port: int = 0, browser: bool = True, opened: Opened = print
) -> None:
    """
    Open the notebooks in JupyterLab, until the process is told to stop; parameters and errors as in `serve_pages`.

    The user's own copies lie in her data folder; one that she has changed is never written over.
    """
    page, environment = page_named(page), kernel_environment(where)
    check_packages("JupyterLab")
    from contrastkit.panels.lab_server import run

    # JupyterLab's own question about news, which it would fetch, is switched off in a folder of settings of ours
    settings = os.pathsep.join(filter(None, (str(_SETTINGS), os.environ.get("JUPYTER_CONFIG_PATH"))))
    with _port_named(port), _in_environment({**environment, "JUPYTER_CONFIG_PATH": settings}):
        run(own_copies(notebooks_folder(), own_folder()), f"{page}.ipynb", port=port, browser=browser, opened=opened)


def check_packages(what: str) -> None:
    """
    Raise MissingPackageError where the packages that serve `what` ("pages", "JupyterLab") are not installed.

    >>> check_packages("pages")
    """
    missing = [name for name in _NEEDED[what] if find_spec(name) is None]
    if missing:
        raise MissingPackageError(
            f"For {what}, the package {missing[0]} must be installed; it is not. "
            "Install it with: pip install 'contrastkit[notebook]'"
        )


def kernel_environment(where: StrPath | None) -> dict[str, str]:
    """
    Return what kernels must find in their environment to open the catalogue at a place.

    Raises
    ------
    InvalidInputError
        It is no place of a catalogue.

    >>> kernel_environment("postgresql://studio/pile")
    {'CONTRASTKIT_PILE': 'postgresql://studio/pile'}
    """
    if where is not None and not is_catalogue(where):
        raise InvalidInputError(
            f"--pile must name a catalogue: a .sqlite file or an address postgresql://...; got {os.fspath(where)!r}. "
            "Leave it out for the usual one."
        )
    place = catalogue_at(where)
    if place is None:
        usual = os.environ.get(VARIABLE)
        return {VARIABLE: _absolute(usual)} if usual else {}
    return {VARIABLE: _absolute(os.fspath(place))}


def _absolute(place: str) -> str:
    # kernels run in another folder
    return place if "://" in place else str(Path(place).expanduser().absolute())


@contextmanager
def _copied(notebooks: Path) -> Iterator[Path]:
    """A page never changes the notebook: it shows a copy, which is taken away at the end."""
    with tempfile.TemporaryDirectory(prefix="contrastkit-", ignore_cleanup_errors=True) as folder:
        for path in _files(notebooks):
            _copy(notebooks / path, Path(folder) / path)
        yield Path(folder)


def _files(notebooks: Path) -> list[Path]:
    pictures = [path.relative_to(notebooks) for path in sorted((notebooks / "pictures").glob("*.png"))]
    return [*(Path(f"{name}.ipynb") for name in PAGES), *pictures]


def _copy(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    shutil.copyfile(source, target)


def own_folder() -> Path:
    """Return the folder of the user's own copies of the notebooks."""
    from platformdirs import user_data_path

    return user_data_path("contrastkit", appauthor=False) / "notebooks"


def own_copies(notebooks: Path, folder: Path) -> Path:
    """
    Return the folder with copies of the notebooks; those that nobody has changed since they were copied are renewed.

    Parameters
    ----------
    notebooks : the originals
    folder : where the copies are to lie
    """
    list_of_copies = folder / ".copied.json"
    copied = _read_copied(list_of_copies)
    for path in _files(notebooks):
        source, target = notebooks / path, folder / path
        if not target.exists() or copied.get(path.as_posix()) == _content(target):
            _copy(source, target)
            copied[path.as_posix()] = _content(source)
    list_of_copies.write_text(json.dumps(copied, indent=1), encoding="utf-8")
    return folder


def _read_copied(path: Path) -> dict[str, str]:
    try:
        said: Any = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(key): str(value) for key, value in said.items()} if isinstance(said, dict) else {}


def _content(path: Path) -> str:
    from hashlib import sha256

    return sha256(path.read_bytes()).hexdigest()


@contextmanager
def _port_named(port: int) -> Iterator[None]:
    if not 0 <= port <= 65535:
        raise InvalidInputError(
            f"--port must be a whole number from 0 to 65535; got {port}. Leave it out for a free one."
        )
    try:
        yield
    except OSError as error:
        if error.errno not in (errno.EADDRINUSE, errno.EACCES):
            raise
        raise InvalidInputError(
            f"Port {port} must be free; another program has it, or the system keeps it for itself. "
            "Leave --port out for a free one."
        ) from None


@contextmanager
def _in_environment(more: Mapping[str, str]) -> Iterator[None]:
    before = {name: os.environ.get(name) for name in more}
    os.environ.update(more)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
