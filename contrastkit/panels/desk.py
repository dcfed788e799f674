"""
The desk: one session that all panels on a page share, with every step to be taken back.

It is the only thing here that changes. Panels watch it; the catalogue stands behind it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from importlib import import_module
from typing import Any

import ipywidgets
import pandas as pd

from contrastkit.errors import ContrastkitError, InvalidInputError
from contrastkit.keep.catalogue import Catalogue, Done, open_catalogue
from contrastkit.keep.files import StrPath
from contrastkit.keep.projects import Project, Settings
from contrastkit.keep.sources import catalogue_at, is_catalogue, read_source
from contrastkit.panels.session import FIRST_PROJECT, CatalogueCrops, Session, empty_session, session_of

Watcher = Callable[[Session, Session], object]
_MOST_STEPS = 200


@dataclass(frozen=True, eq=False)
class Step:
    """
    One thing that was done: the session before it (or after it, once it is undone), its words, the numbers of its
    actions in the catalogue, if any, and of those that undid them.
    """

    before: Session
    said: str
    actions: tuple[int, ...] = ()
    undone_by: tuple[int, ...] = ()


def open_desk(
    where: StrPath | pd.DataFrame | None = None, *, project: str = FIRST_PROJECT, who: str | None = None
) -> Desk:
    """
    Return a desk with the pile on it; its panels are `photograph()`, `sort()`, `explore()`, `stack()` and `plan()`.

    Parameters
    ----------
    where : the catalogue, by its file, its address, or None for the usual one, begun if there is none; or a swatch
        table, by its CSV file or itself, of which nothing is kept
    project : the project that edges, stacks and plan belong to; what it keeps is on the desk again
    who : the name that is recorded with what is kept; by default the login name

    Raises
    ------
    CatalogueError
        The catalogue cannot be opened.
    InvalidInputError
        The file is no swatch table.

    >>> import pandas as pd
    >>> desk = open_desk(pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [80.0, 20.0]}))
    >>> desk.session.sorted.balance
    'Short of mediums: none of 2.'
    """
    if isinstance(where, pd.DataFrame):
        return Desk(session_of(where, where="a table"))
    if where is not None and not is_catalogue(where):
        source = read_source(where)
        return Desk(session_of(source.table, source.crops, where=source.where))
    desk = Desk(empty_session(), catalogue=open_catalogue(catalogue_at(where), who=who))
    desk.take_up(project)
    return desk


class Desk:
    """A session that panels share; see `open_desk`."""

    def __init__(self, session: Session, *, catalogue: Catalogue | None = None) -> None:
        self.catalogue = catalogue
        self.said, self.problem = "", ""
        self._session = session
        self._done: list[Step] = []
        self._undone: list[Step] = []
        self._watchers: list[Watcher] = []
        self._listeners: list[Callable[[Desk], object]] = []
        self._shown_over: Session | None = None

    # --- what is on it ---

    @property
    def session(self) -> Session:
        """What is on the desk now."""
        return self._session

    def watch(self, call: Watcher) -> None:
        """Have `call(new, old)` called whenever there is another session."""
        self._watchers.append(call)

    def listen(self, call: Callable[[Desk], object]) -> None:
        """Have `call(desk)` called whenever something is said, or can be undone that could not be before."""
        self._listeners.append(call)

    def change(self, session: Session, said: str, *, actions: tuple[int, ...] = ()) -> None:
        """Put another session on the desk, as one step that can be taken back; `actions` are those in the catalogue."""
        self._done = [*self._done[1 - _MOST_STEPS :], Step(self._before_shown, said, actions)]
        self._undone = []
        self._put(session)
        self.say(said)

    def show(self, session: Session) -> None:
        """Put another session on the desk while a hand is still moving: no step, no words."""
        if self._shown_over is None:
            self._shown_over = self._session
        self._put(session, on_its_way=True)

    @property
    def _before_shown(self) -> Session:
        return self._session if self._shown_over is None else self._shown_over

    def _put(self, session: Session, *, on_its_way: bool = False) -> None:
        old, self._session = self._session, session
        if not on_its_way:
            self._shown_over = None
        for call in tuple(self._watchers):
            call(session, old)

    # --- what is said ---

    def say(self, sentence: str, *, problem: bool = False) -> None:
        """Say what was done, or what could not be done and why."""
        self.said, self.problem = ("", sentence) if problem else (sentence, "")
        for call in tuple(self._listeners):
            call(self)

    def attempt(self, call: Callable[..., object]) -> Callable[..., None]:
        """Return what does `call`; where it cannot, the sentence that says why is said, and nothing has changed."""

        def tried(*arguments: Any) -> None:
            try:
                call(*arguments)
            except ContrastkitError as error:
                if self._shown_over is not None:
                    self._put(self._shown_over)
                self.say(str(error), problem=True)

        return tried

    # --- undone and done again ---

    @property
    def to_undo(self) -> str:
        """What would be undone next, in words, or nothing."""
        return self._done[-1].said if self._done else ""

    @property
    def to_redo(self) -> str:
        """What would be done again next, in words, or nothing."""
        return self._undone[-1].said if self._undone else ""

    def undo(self) -> None:
        """Take back the last step, in the catalogue too if it was kept there."""
        if not self._done:
            return self.say("There is nothing to undo.")
        step = self._done[-1]
        undone_by = self._in_catalogue(step.actions, "undo", count=len(step.actions))
        self._done.pop()
        self._undone.append(Step(self._session, step.said, step.actions, undone_by))
        self._put(step.before)
        if step.actions:
            self.reload()
        return self.say(f"Undone: {step.said}")

    def redo(self) -> None:
        """Do again the step that was taken back last."""
        if not self._undone:
            return self.say("There is nothing to do again.")
        step = self._undone[-1]
        self._in_catalogue(step.undone_by, "redo", count=len(step.actions))
        self._undone.pop()
        self._done.append(Step(self._session, step.said, step.actions))
        self._put(step.before)
        if step.actions:
            self.reload()
        return self.say(f"Done again: {step.said}")

    def _in_catalogue(self, numbers: tuple[int, ...], verb: str, *, count: int) -> tuple[int, ...]:
        # undo in the catalogue takes back whatever is newest there, which may by now be somebody else's
        if not numbers or self.catalogue is None:
            return ()
        newest = _newest(self.catalogue.actions(4 * _MOST_STEPS), verb)
        if newest is None or newest.number != numbers[-1]:
            raise InvalidInputError(
                "Nothing may have been done to the catalogue since"
                + (f"; {newest.who} has: {newest.what}" if newest is not None else "")
                + ". Undo that first, on the desk or with `contrastkit pile undo`."
            )
        getattr(self.catalogue, verb)(count)
        return tuple(sorted(done.number for done in self.catalogue.actions(count)))

    # --- the catalogue ---

    def keep(self, said: str, *calls: Callable[[Catalogue], object], session: Session | None = None) -> None:
        """
        Do things to the catalogue as one step that can be taken back, and read the pile again.

        Parameters
        ----------
        said : what was done, in words
        calls : each is given the catalogue
        session : what is on the desk afterwards, its pile aside; what is on it now, if not given

        Raises
        ------
        InvalidInputError
            There is no catalogue behind this desk.
        ContrastkitError
            What one of the calls raises; what was done before it is undone.
        """
        catalogue = self.kept_in()
        before = {done.number for done in catalogue.actions(1)}
        numbers: list[int] = []
        try:
            for call in calls:
                call(catalogue)
                newest = catalogue.actions(1)
                if newest and newest[0].number not in before:
                    numbers.append(newest[0].number)
                    before.add(newest[0].number)
        except ContrastkitError:
            if numbers:
                catalogue.undo(len(numbers))
            raise
        self.change(self._read_again(session or self._session), said, actions=tuple(numbers))

    def kept_in(self) -> Catalogue:
        """Return the catalogue, or raise InvalidInputError where the desk has none."""
        if self.catalogue is None:
            raise InvalidInputError(
                "Keeping needs a catalogue; this desk is about a table in a file. Open it with contrastkit.open_desk()."
            )
        return self.catalogue

    def keep_project(self, said: str = "", *, session: Session | None = None) -> None:
        """Keep edges, stacks and plan with the project, so that all is found again when the page is opened anew."""
        of = session or self._session

        def save(catalogue: Catalogue) -> object:
            return catalogue.save_project(project_of(catalogue, of))

        self.keep(said or f"Kept with {of.project}.", save, session=of)

    def take_up(self, project: str) -> None:
        """Put a project of the catalogue on the desk, or a new one of that name."""
        catalogue = self.kept_in()
        session = self._read_again(replace(self._session, project=project))
        if project in catalogue.projects():
            session = session.with_project(catalogue.project(project))
        self._put(session)

    def reload(self) -> None:
        """Read the pile from the catalogue again."""
        self._put(self._read_again(self._session))

    def _read_again(self, session: Session) -> Session:
        if self.catalogue is None:
            return session
        table = self.catalogue.table("-state=used -state=lost")
        crops = CatalogueCrops(self.catalogue, list(table["swatch_id"]))
        return replace(session.with_pile(table, crops), where=self.catalogue.where)

    def close(self) -> None:
        """Close the catalogue."""
        if self.catalogue is not None:
            self.catalogue.store.close()

    # --- panels, found by their names: they import the desk themselves ---

    def photograph(self) -> ipywidgets.Widget:
        """Return the panel where photographs become pieces of the pile."""
        return _panel("photograph", self)

    def sort(self) -> ipywidgets.Widget:
        """Return the panel where the pile is sorted by lightness."""
        return _panel("sort", self)

    def explore(self) -> ipywidgets.Widget:
        """Return the panel where the palette is looked at."""
        return _panel("explore", self)

    def stack(self) -> ipywidgets.Widget:
        """Return the panel where pieces are laid on one another."""
        return _panel("stack", self)

    def plan(self) -> ipywidgets.Widget:
        """Return the panel where blocks are planned."""
        return _panel("plan", self)

    def teach(self) -> ipywidgets.Widget:
        """Return the panel where learners sort swatches by eye."""
        return _panel("teach", self)


def _panel(name: str, desk: Desk) -> ipywidgets.Widget:
    module = import_module(f"contrastkit.panels.{name}_panel")
    return getattr(module, f"{name.capitalize()}Panel")(desk)


def _newest(actions: Sequence[Done], verb: str) -> Done | None:
    """
    The action that undo, or redo, would be about, of the last ones, the newest first.

    An action that was undone counts no more, nor does the undo of it once it was done again. Redo is about the newest
    undo that counts, unless something else was done after it.
    """
    undone, by_number = set(), {done.number: done for done in actions}
    for done in actions:
        if done.number in undone:
            continue
        if done.undoes is None:
            return done if verb == "undo" else None
        target = by_number.get(done.undoes)
        undone.add(done.undoes)
        if verb == "redo" and target is not None and target.undoes is None:
            return done
    return None


def project_of(catalogue: Catalogue, session: Session) -> Project:
    """Return the session's project as the catalogue is to keep it."""
    known = session.project in catalogue.projects()
    old = catalogue.project(session.project) if known else Project(session.project)
    return replace(old, settings=session.settings(old.settings if known else Settings()))
