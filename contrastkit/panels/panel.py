"""What all panels have in common: their frame, and a foot that says what was done and takes it back."""

from __future__ import annotations

import ipywidgets

from contrastkit.panels.desk import Desk
from contrastkit.panels.parts import Look, Press, Said, row


class Panel(ipywidgets.Box):
    """
    A panel on a desk.

    Parameters
    ----------
    desk : what it is about
    children : its parts, the work first
    """

    def __init__(self, desk: Desk, *children: ipywidgets.Widget) -> None:
        self.desk = desk
        self.said = Said()
        self.undo = Press("Undo", desk.attempt(desk.undo))
        self.redo = Press("Do again", desk.attempt(desk.redo))
        foot = row(self.undo, self.redo, self.said)
        foot.add_class("ck-foot")
        super().__init__([Look(), *children, foot])
        self.add_class("ck-panel")
        self.add_class("ck-column")
        desk.listen(lambda _: self._tell())
        self._tell()

    def _tell(self) -> None:
        self.said.show(self.desk.said)
        self.said.problem = self.desk.problem
        for press, what in ((self.undo, self.desk.to_undo), (self.redo, self.desk.to_redo)):
            press.disabled, press.hint = not what, what
