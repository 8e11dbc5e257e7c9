"""Whose a batch of logs is, by what their headers say, before any of them is read whole."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from telemetry.aircraft.profile import new_profile
from telemetry.app.workers import ALONE, Crew, calls
from telemetry.book import Logbook, aircraft_key
from telemetry.book.maps import model_in, model_key
from telemetry.importer import read_log_in
from telemetry.importer.finding import find_files
from telemetry.importer.heads import preamble_of
from telemetry.model.errors import BookError, BusbookError


def models_of(paths: Sequence[str | Path], *, leave_out: Path | None = None) -> dict[Path, str]:
    """The model that each log's header names, "" where it names none; in the order of the files.

    Parameters
    ----------
    paths : sequence of path
        Files and folders.
    leave_out : path, optional
        A folder that is not searched: the book itself, if it lies among the logs.
    """
    found = find_files(paths, leave_out=leave_out)
    return {one.path: model_in(preamble_of(one.path)) for one in found if one.error is None}


def refuse_two_headers(book: Logbook, models: Mapping[Path, str], aircraft: str) -> None:
    """Refuse logs of several models for one aircraft; those of other aircraft are refused singly.

    Raises
    ------
    BookError
        If headers name two models, neither known to be another aircraft's in this book.
    """
    key = aircraft_key(aircraft)
    counts: Counter[str] = Counter()
    for model in filter(None, models.values()):
        whose = book.owners(model)
        if key in whose or model_key(model) == key:
            counts[key] += 1
        elif not whose:
            counts[model] += 1
    if len(counts) > 1:
        told = ", ".join(f"'{name}' ({number})" for name, number in sorted(counts.items()))
        raise BookError(
            f"the headers of these logs name {len(counts)} models: {told}; nothing was added",
            hint="without --aircraft each goes to its own; or add the logs of one model at a time",
        )


def introduce(
    book: Logbook,
    models: Mapping[Path, str],
    aircraft: str | None,
    how: Mapping[str, Any],
    crew: Crew = ALONE,
) -> None:
    """Make the profile of each new aircraft from its first log, before any log is measured by it.

    Parameters
    ----------
    book : Logbook
    models : mapping of Path to str
        As of :func:`models_of`.
    aircraft : str or None
        Whose the logs are; None where their headers decide.
    how : mapping
        Keywords of ``read_log``.
    crew : Crew
        Who reads those first logs, one of each new aircraft.
    """
    waiting: dict[str, deque[tuple[Path, str]]] = {}
    for path, model in models.items():
        new = aircraft is None and bool(model) and not book.owners(model)
        name = (model if new else None) if aircraft is None else aircraft
        key = None if name is None else model_key(name)
        if name is not None and key is not None and not book.profile_path(key).exists():
            waiting.setdefault(key, deque()).append((path, name))
    make = partial(_profile, folder=Path.cwd(), how=how)
    while waiting:
        firsts = [logs.popleft() for logs in waiting.values()]
        found = dict(zip(waiting, calls(make, firsts, crew), strict=True))
        for key, text in found.items():
            try:
                made = text()
            except BusbookError:  # this log cannot be read: the next one of the model
                continue
            book.put_profile(key, made)
            waiting[key].clear()
        waiting = {key: logs for key, logs in waiting.items() if logs}


def _profile(first: tuple[Path, str], *, folder: Path, how: Mapping[str, Any]) -> str:
    path, name = first
    return new_profile(name.strip(), read_log_in(folder, path, **how))
