"""What is left of a profile once the values that are not allowed are taken out.

So the path can be checked in the same go as the values: whoever mends a profile wants to know
everything at once.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import ValidationError

from telemetry.aircraft import Aircraft
from telemetry.aircraft.profile.checking import Problem, path_problems
from telemetry.aircraft.profile.keylines import KeyPath

_ROUNDS = 3  # taking a value out may bring to light one error more, hardly ever two


def path_problems_of_rest(data: Mapping[str, Any], wrong: Iterable[KeyPath]) -> list[Problem]:
    """Problems of the path in a profile some of whose values are not allowed.

    Parameters
    ----------
    data : mapping
        The profile as read.
    wrong : iterable of key paths
        Keys that are not allowed, or missing.

    Returns
    -------
    list of Problem
        Those about tables in which no value is wrong, and that do not follow from what was taken
        out. Empty where too little is left.
    """
    rest = copy.deepcopy(dict(data))
    # Original numbers of the tables that are still there.
    numbers = {name: list(range(len(x))) for name, x in rest.items() if isinstance(x, list)}
    spoilt = {_table(where) for where in wrong}
    missing: set[str] = set()
    errors = list(wrong)
    for _ in range(_ROUNDS):
        # From the last table on, so that numbers stay true; each value once.
        for where in sorted({w[:3] for w in errors}, key=_number, reverse=True):
            _take_out(rest, where, numbers, missing)
        try:
            craft = Aircraft.model_validate(rest)
        except ValidationError as error:
            errors = [e["loc"] for e in error.errors(include_url=False)]
            continue
        found = (_as_written(p, numbers) for p in path_problems(craft))
        return [p for p in found if _table(p.where) not in spoilt and missing.isdisjoint(p.places)]
    return []


def _as_written(problem: Problem, numbers: Mapping[str, list[int]]) -> Problem:
    """The problem with the number that its table has in the file."""
    name, *inner = problem.where
    if not inner or not isinstance(inner[0], int):
        return problem
    return problem._replace(where=(name, numbers[str(name)][inner[0]], *inner[1:]))


def _number(where: KeyPath) -> int:
    return where[1] if len(where) > 1 and isinstance(where[1], int) else -1


def _table(where: KeyPath) -> KeyPath:
    return where[:2] if len(where) > 1 and isinstance(where[1], int) else where[:1]


def _take_out(
    rest: dict[str, Any], where: KeyPath, numbers: dict[str, list[int]], missing: set[str]
) -> None:
    """Take out one value; the whole table where it has to have it."""
    name, *inner = where or ("",)
    tables = rest.get(str(name))
    if not inner or not isinstance(inner[0], int) or not isinstance(tables, list):
        rest.pop(str(name), None)
        return
    k = inner[0]
    if k >= len(tables):
        return
    table = tables[k]
    key = inner[1] if len(inner) > 1 else None
    if isinstance(table, dict) and key in table and key not in ("name", "node", "output", "drives"):
        del table[key]
        return
    if isinstance(table, dict) and isinstance(table.get("name"), str):
        missing.add(table["name"].strip().lower())
    del tables[k]
    del numbers[str(name)][k]
