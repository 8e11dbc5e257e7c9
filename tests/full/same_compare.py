"""Compare two JSON documents: what differs, where, and of what kind. Pure functions.

Records of a list are paired by what they are about (code, place, kind, ...), so that one that is
missing or stands elsewhere is told as that and does not drag all after it along.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Sequence
from difflib import SequenceMatcher
from typing import Any, NamedTuple

# Numbers are the same within this share of the larger; below the second they are both nothing.
RELATIVE, NOTHING = 1e-9, 1e-12

GONE, ADDED = "key gone", "key added"  # a key that one side alone has
MISSING, MORE = "item gone", "item added"  # a record of a list
ORDER, NUMBER, VALUE, TEXT = "order", "number", "value", "text"

# Keys whose value is read by people; what is compared of it is whether it is there.
TEXTS = frozenset(
    {
        "advice",
        "basis",
        "compared_with",
        "confirm",
        "explained_by",
        "explanations",
        "message",
        "method",
        "not_judged",
        "note",
        "notes",
        "reason",
        "refused",
        "start_source",
        "time_form",
        "title",
        "sees",
        "why",
        "next_time",
    }
)
# Where a key that is a term elsewhere holds words.
TEXT_PLACES = (".trends.quantity", ".change.quantity", ".compared.name", ".evidence.measured")
# Keys that tell what a record is about; numbers and levels of it may differ.
ABOUT = (
    "code",
    "kind",
    "place",
    "servo",
    "drives",
    "feature",
    "flight",
    "column",
    "case",
    "part",
    "what",
    "wire",
    "id",
    "file",
)
# Of several records about the same, the moment tells which.
MOMENTS = ("start_s", "time_s")
# Name the program, no result of it.
IGNORED = frozenset({"busbook"})


class Difference(NamedTuple):
    """One difference: its kind, the JSON path, and both sides as JSON."""

    kind: str
    path: str
    a: str
    b: str


def strict(text: str) -> Any:
    """Parse JSON as the standard has it (RFC 8259): no NaN, no infinity, no key twice.

    Raises
    ------
    ValueError
    """
    return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_object)


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        raise ValueError(f"a key stands twice among {sorted(key for key, _ in pairs)}")
    return made


def differences(a: Any, b: Any, path: str = "$", key: str = "") -> Iterator[Difference]:
    """What differs between two parsed documents, in the order of the first.

    Parameters
    ----------
    a, b : JSON values
    path : str
        Where they stand.
    key : str
        The key that they, or the list that holds them, belong to.
    """
    if isinstance(a, dict) and isinstance(b, dict):
        yield from _objects(a, b, path)
    elif isinstance(a, list) and isinstance(b, list):
        yield from _lists(a, b, path, key)
    elif _is_number(a) and _is_number(b):
        if not math.isclose(a, b, rel_tol=RELATIVE, abs_tol=NOTHING):
            yield _told(NUMBER, path, a, b)
    elif type(a) is not type(b) or a != b:
        both_said = isinstance(a, str) and isinstance(b, str) and bool(a) == bool(b)
        yield _told(TEXT if both_said and is_text(path, key) else VALUE, path, a, b)


def is_text(path: str, key: str) -> bool:
    """Whether the string at a path is read by people."""
    return key in TEXTS or re.sub(r"\[\d+\]", "", path).endswith(TEXT_PLACES)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _told(kind: str, path: str, a: Any, b: Any) -> Difference:
    return Difference(kind, path, json.dumps(a), json.dumps(b))


def _objects(a: dict[str, Any], b: dict[str, Any], path: str) -> Iterator[Difference]:
    for key, value in a.items():
        if key in IGNORED:
            continue
        if key in b:
            yield from differences(value, b[key], f"{path}.{key}", key)
        else:
            yield Difference(GONE, f"{path}.{key}", json.dumps(value), "")
    for key in b:
        if key not in a and key not in IGNORED:
            yield Difference(ADDED, f"{path}.{key}", "", json.dumps(b[key]))


def _lists(a: list[Any], b: list[Any], path: str, key: str) -> Iterator[Difference]:
    """Items in pairs; where they are not about the same in the same order, that too."""
    if key in TEXTS and len(a) == len(b):
        keys_a = keys_b = [""] * len(a)
    else:
        keys_a, keys_b = [about(v) for v in a], [about(v) for v in b]
    if sorted(keys_a) != sorted(keys_b):
        keys_a, keys_b = [about(v, when=True) for v in a], [about(v, when=True) for v in b]
        matcher = SequenceMatcher(None, keys_a, keys_b, autojunk=False)
        for what, a_0, a_1, b_0, b_1 in matcher.get_opcodes():
            if what == "equal":
                for i, j in zip(range(a_0, a_1), range(b_0, b_1), strict=True):
                    yield from differences(a[i], b[j], f"{path}[{i}]", key)
                continue
            for i in range(a_0, a_1):
                yield Difference(MISSING, f"{path}[{i}]", json.dumps(a[i]), "")
            for j in range(b_0, b_1):
                yield Difference(MORE, f"{path}[{j}]", "", json.dumps(b[j]))
        return
    if keys_a != keys_b:
        yield _told(ORDER, path, keys_a, keys_b)
    for i, j in zip(_by_key(keys_a), _by_key(keys_b), strict=True):
        yield from differences(a[i], b[j], f"{path}[{i}]", key)


def _by_key(keys: Sequence[str]) -> list[int]:
    return sorted(range(len(keys)), key=lambda i: (keys[i], i))


def about(item: Any, *, when: bool = False) -> str:
    """What a member of a list is about, the same on both sides though its numbers may differ."""
    if isinstance(item, dict):
        keys = (*ABOUT, *MOMENTS) if when else ABOUT
        return " ".join(f"{k}={_rounded(item[k])}" for k in keys if item.get(k) is not None)
    if isinstance(item, str) or item is None:
        return json.dumps(item)
    return type(item).__name__ if isinstance(item, bool | list) else "number"


def _rounded(value: Any) -> str:
    return f"{value:.3f}" if _is_number(value) else str(value)
