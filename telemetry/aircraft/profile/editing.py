"""Set keys of a profile and leave every other character of the file as it is.

A value is put where the old one stood, a new key below the last one of its table. The result is
read again: it must say what the old text said, with those keys changed and nothing else.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from telemetry.aircraft import Aircraft
from telemetry.aircraft.profile.keylines import KeyPath, KeyPlaces, key_places
from telemetry.aircraft.profile.options import ProfileTable, table_of, values_of
from telemetry.aircraft.profile.reading import key_name, text_errors
from telemetry.model.errors import ProfileError, UnknownSetting
from telemetry.model.files import toml_of

_BOM = "\ufeff"


def set_keys(
    text: str,
    places: Sequence[str],
    options: Mapping[str, str],
    *,
    path: str | Path,
    seen: Aircraft | None = None,
) -> str:
    """A profile's text with keys of some places set.

    Parameters
    ----------
    text : str
        The profile, with its own line ends and byte order mark.
    places : sequence of str
        Packs, supplies, nodes, the bus or "limits"; all of them get the same keys.
    options : mapping of str to str
        Keys as a person types them, with values: a key with dashes, its unit may be left out
        ("capacity" is ``capacity_mah``); keys of a lead by their own name. "output" means the
        servo on that output of a node.
    path : path
        Of the profile, for errors.
    seen : Aircraft, optional
        What the logs show: a place of it that the profile does not list gets a table of its own.

    Returns
    -------
    str
        The new text, which ``busbook aircraft check`` accepts.

    Raises
    ------
    UnknownSetting
        For a place or key that there is not, or a value that is not allowed.
    ProfileError
        If the profile is wrong as it stands, or written in a way that this cannot change.
    """
    mark, text = (_BOM, text.removeprefix(_BOM)) if text.startswith(_BOM) else ("", text)
    for place in places:
        text = _set_at(text, " ".join(place.lower().split()), options, path, seen)
    return mark + text


def _set_at(
    text: str, place: str, options: Mapping[str, str], path: str | Path, seen: Aircraft | None
) -> str:
    before = _data(text, path)
    table = table_of(before, place, options, seen)
    values = values_of(table, place, options)
    after = _changed(before, table, values)
    try:
        new = _spliced(text, table, values)
        same = toml_of(new) == after
    except (ValueError, LookupError):
        same = False
    if not same:
        raise ProfileError(
            f"the keys of {place} are written in a way that only an editor can change",
            path=path,
            hint="put them in by hand",
        )
    if errors := text_errors(new, path):
        _refuse(errors[0], place, key_name(table.path))
    return new


def _refuse(error: ProfileError, place: str, table: str | None) -> None:
    """Raise what is wrong with the new text, of which no line is on the disk."""
    if table is None or (error.column or "").startswith(table):
        raise UnknownSetting(f"{place}: {error.what}", hint=error.hint)
    hint = error.hint or "put that right first"
    raise ProfileError(error.what, path=error.path, column=error.column, hint=hint)


def _data(text: str, path: str | Path) -> dict[str, Any]:
    try:
        return toml_of(text)
    except (ValueError, RecursionError):
        raise text_errors(text, path)[0] from None


def _changed(data: Mapping[str, Any], table: ProfileTable, values: Mapping[KeyPath, Any]) -> Any:
    after = copy.deepcopy(dict(data))
    target: Any = after
    for part in table.path:
        if table.new is not None and isinstance(target, dict) and part not in target:
            target[part] = [] if len(table.path) > 1 else {}
        if isinstance(target, list) and part == len(target):
            target.append({})
        target = target[part]
    target.update(table.new or {})
    for key, value in values.items():
        inner = target
        for part in key[:-1]:
            inner = inner.setdefault(part, {})
        inner[key[-1]] = value
    return after


def _spliced(text: str, table: ProfileTable, values: Mapping[KeyPath, Any]) -> str:
    if table.new is not None:
        return _with_table(text, table, {(k,): v for k, v in table.new.items()} | {**values})
    groups: dict[KeyPath, dict[KeyPath, Any]] = {}
    for key, value in values.items():
        places = key_places(text)
        at = places.values.get((*table.path, *key))
        if at is not None:
            text = text[: at[0]] + _toml(value) + text[at[1] :]
        else:
            groups.setdefault(key[:-1], {})[key] = value
    for inner, keys in groups.items():
        text = _with_keys(text, table, inner, keys, key_places(text))
    return text


def _with_keys(
    text: str, table: ProfileTable, inner: KeyPath, keys: Mapping[KeyPath, Any], places: KeyPlaces
) -> str:
    """New keys of one table, each on a line of its own, or behind the others between braces."""
    path = (*table.path, *inner)
    at = places.ends.get(path)
    if path in places.inline and at is not None:
        empty = text[at - 1] == "{"
        words = ", ".join(f"{k[-1]} = {_toml(v)}" for k, v in keys.items())
        return text[:at] + (f" {words} " if empty else f", {words}") + text[at:]
    if inner and at is None:  # no such table yet
        words = ", ".join(f"{k[-1]} = {_toml(v)}" for k, v in keys.items())
        lines = [f"{inner[-1]} = {{ {words} }}"]
        at = places.ends.get(table.path, 0)
    elif inner and not _headed(text, path, places):
        lines = [f"{'.'.join(map(str, k))} = {_toml(v)}" for k, v in keys.items()]
    else:
        lines = [f"{k[-1]} = {_toml(v)}" for k, v in keys.items()]
    if table.path in places.inline:
        at = places.ends[table.path]
        return text[:at] + "".join(f", {line}" for line in lines) + text[at:]
    return _below(text, at or 0, lines)


def _headed(text: str, path: KeyPath, places: KeyPlaces) -> bool:
    """Whether a table has a header of its own, ``[nodes.lead]``, and no dotted keys."""
    line = text.split("\n")[places.lines[path] - 1]
    return line.lstrip().startswith("[")


def _below(text: str, at: int, lines: Sequence[str]) -> str:
    """Lines below the one in which an offset lies, indented and ended as that one is."""
    newline = "\r\n" if "\r\n" in text else "\n"
    if at == 0:
        return "".join(f"{line}{newline}" for line in lines) + text
    start = text.rfind("\n", 0, at) + 1
    end = text.find("\n", at)
    end = len(text) if end < 0 else end - (text[end - 1] == "\r")
    first = text[start:at]
    indent = first[: len(first) - len(first.lstrip(" \t"))]
    return text[:end] + "".join(f"{newline}{indent}{line}" for line in lines) + text[end:]


def _with_table(text: str, table: ProfileTable, values: Mapping[KeyPath, Any]) -> str:
    """A new table at the end of the text."""
    newline = "\r\n" if "\r\n" in text else "\n"
    name = str(table.path[0])
    lines = [f"[[{name}]]" if len(table.path) > 1 else f"[{name}]"]
    lines += [f"{k[0]} = {_toml(v)}" for k, v in values.items() if len(k) == 1]
    inner = {k[-1]: v for k, v in values.items() if len(k) > 1}
    if inner:
        lines.append(f"lead = {{ {', '.join(f'{k} = {_toml(v)}' for k, v in inner.items())} }}")
    gap = newline if text.endswith("\n") or not text else newline * 2
    return text + gap + newline.join(lines) + newline


def _toml(value: Any) -> str:
    """A value as TOML; JSON's escapes are a part of TOML's, but for DEL."""
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, date):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
