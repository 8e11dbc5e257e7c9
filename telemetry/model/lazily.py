"""Names of a package that are loaded when they are first used."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Callable, Mapping
from typing import Any


def lazily(
    package: str, home: Mapping[str, str]
) -> tuple[Callable[[str], Any], Callable[[], list[str]]]:
    """``__getattr__`` and ``__dir__`` of a package whose names live in other modules (PEP 562).

    Parameters
    ----------
    package : str
        Its ``__name__``.
    home : mapping of str to str
        Each name, and the module that defines it.
    """

    def get(name: str) -> Any:
        if name not in home:
            raise AttributeError(f"module '{package}' has no attribute '{name}'")
        value = getattr(importlib.import_module(home[name]), name)
        setattr(sys.modules[package], name, value)
        return value

    def names() -> list[str]:
        return sorted({*vars(sys.modules[package]), *home})

    return get, names
