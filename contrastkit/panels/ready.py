"""Loads all that pages need, so that a kernel that is kept ready answers at once."""

from __future__ import annotations

import importlib
import pkgutil

import contrastkit.panels
import contrastkit.panels.desk

for _module in pkgutil.iter_modules(contrastkit.panels.__path__):
    if _module.name.endswith("_panel"):
        importlib.import_module(f"contrastkit.panels.{_module.name}")
