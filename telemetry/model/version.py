"""The program's version: of the installed distribution, whose metadata hold what pyproject says."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def program_version() -> str | None:
    """Version of the installed distribution; None when run from a bare source tree."""
    try:
        return version("busbook")
    except PackageNotFoundError:
        return None


def made_by() -> str:
    """The program's name and version."""
    return f"busbook {program_version() or '(not installed)'}"
