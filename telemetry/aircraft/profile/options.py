"""What a place and an option mean in a profile: which key of which table, and which value."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel

from telemetry.aircraft import Aircraft, Lead, Limits, Node, Pack, Servo, Supply
from telemetry.aircraft.profile.checking import suggestion
from telemetry.aircraft.profile.keylines import KeyPath
from telemetry.model.errors import UnknownSetting

#: What stands for the table of limits where a place is named.
LIMITS = "limits"

_LISTS: dict[str, type[BaseModel]] = {"packs": Pack, "supplies": Supply, "nodes": Node}
# Units that an option may leave out: "capacity" is capacity_mah.
_UNITS = ("_mah", "_mohm", "_pct", "_v", "_a", "_m", "_s")
# Of the bus and a regulator that are no tables of their own.
_TOP_KEYS = ("regulated_v",)


@dataclass(frozen=True, slots=True)
class ProfileTable:
    """Where keys of a place go: its path, its model, and what a new table begins with."""

    path: KeyPath
    model: type[BaseModel]
    keys: tuple[str, ...]
    new: Mapping[str, Any] | None = None

    def options(self) -> dict[str, KeyPath]:
        """Every option by its name without dashes, and the key it sets."""
        own: dict[str, KeyPath] = {name: (name,) for name in self.keys if name != "lead"}
        if "lead" not in self.keys:
            return _typed(own)
        prefixed: dict[str, KeyPath] = {
            f"lead_{name}": ("lead", name) for name in Lead.model_fields
        }
        bare: dict[str, KeyPath] = {name: ("lead", name) for name in Lead.model_fields}
        return _typed(bare) | _typed(prefixed) | _typed(own)


def _typed(keys: Mapping[str, KeyPath]) -> dict[str, KeyPath]:
    """Keys as they are typed; without the unit where only one of them is called so."""
    short = {k: next((k.removesuffix(u) for u in _UNITS if k.endswith(u)), k) for k in keys}
    count = Counter(short.values())
    names = {short[k]: key for k, key in keys.items() if count[short[k]] == 1} | {**keys}
    return {name.replace("_", "-"): key for name, key in names.items()}


def table_of(
    data: Mapping[str, Any], place: str, options: Mapping[str, str], seen: Aircraft | None
) -> ProfileTable:
    """The table of a place.

    Parameters
    ----------
    data : mapping
        The profile as read.
    place : str
        In lower case.
    options : mapping of str to str
        As typed; with "output" the table is that of a servo.
    seen : Aircraft or None
        What the logs show.

    Raises
    ------
    UnknownSetting
        Where neither profile nor logs know the place.
    """
    if "output" in options:
        return _servo(data, place, options, seen)
    if place == LIMITS:
        return ProfileTable(
            (LIMITS,), Limits, tuple(Limits.model_fields), None if LIMITS in data else {}
        )
    for name, model in _LISTS.items():
        keys = tuple(model.model_fields)
        for k, row in enumerate(_rows(data, name)):
            if _name(row.get("name")) == place:
                return ProfileTable((name, k), model, keys)
    if place in (_name(data.get("bus")), _name(data.get("regulator"))):
        return ProfileTable((), Aircraft, _TOP_KEYS)
    for name, model in _LISTS.items():
        for part in () if seen is None else getattr(seen, name):
            if part.name == place:
                row = {
                    k: v
                    for k in ("name", "fed_from", "mirror")
                    if (v := getattr(part, k, None)) is not None
                }
                number = len(_rows(data, name))
                return ProfileTable((name, number), model, tuple(model.model_fields), row)
    if seen is not None and place in (seen.bus, seen.regulator):
        return ProfileTable((), Aircraft, _TOP_KEYS)
    known = [*_known(data, seen), LIMITS]
    raise UnknownSetting(f"there is no place '{place}'", hint=suggestion(place, known))


def _servo(
    data: Mapping[str, Any], place: str, options: Mapping[str, str], seen: Aircraft | None
) -> ProfileTable:
    """The servo on an output of a place: the one that still holds, else a new one."""
    known = _known(data, seen)
    if place not in known:
        raise UnknownSetting(f"there is no place '{place}'", hint=suggestion(place, known))
    output = _number(options["output"], whole=True)
    if output is None:
        raise UnknownSetting(f"--output {options['output']} is no number", hint="as in --output 1")
    keys = tuple(k for k in Servo.model_fields if k != "node")
    rows = _rows(data, "servos")
    for k, row in enumerate(rows):
        if (_name(row.get("node")), row.get("output")) == (place, output) and "until" not in row:
            return ProfileTable(("servos", k), Servo, keys)
    return ProfileTable(("servos", len(rows)), Servo, keys, {"node": place, "output": output})


def _known(data: Mapping[str, Any], seen: Aircraft | None) -> list[str]:
    names = [_name(row.get("name")) for name in _LISTS for row in _rows(data, name)]
    names += [_name(data.get("bus")), _name(data.get("regulator"))]
    if seen is not None:
        names += [p.name for name in _LISTS for p in getattr(seen, name)]
        names += [seen.bus or "", seen.regulator or ""]
    return [name for name in dict.fromkeys(names) if name]


def _rows(data: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    rows = data.get(name, [])
    return [row if isinstance(row, dict) else {} for row in rows] if isinstance(rows, list) else []


def _name(value: object) -> str:
    return value.strip().lower() if isinstance(value, str) else ""


def values_of(table: ProfileTable, place: str, options: Mapping[str, str]) -> dict[KeyPath, Any]:
    """The value of each key that options set; UnknownSetting for one that the table has not."""
    known = table.options()
    values: dict[KeyPath, Any] = {}
    for option, text in options.items():
        key = known.get(option)
        if key == ("output",):
            continue  # it named the table
        if key is None:
            long = [f"--{o}" for o in known]
            raise UnknownSetting(
                f"{place} has no key '--{option}'", hint=suggestion(f"--{option}", long)
            )
        model: type[BaseModel] = Lead if key[0] == "lead" else table.model
        values[key] = _value(model.model_fields[str(key[-1])].annotation, text, option)
    return values


def _value(annotation: Any, text: str, option: str) -> Any:
    """What a typed word means to a key; the check that follows says what is not allowed."""
    kinds = _kinds(annotation)
    if tuple in kinds:
        if str not in kinds:
            raise UnknownSetting(f"--{option} is a table", hint="write it into the file by hand")
        return [part.strip() for part in text.split(",") if part.strip()]
    if bool in kinds and text.lower() in ("true", "false"):
        return text.lower() == "true"
    if date in kinds:
        try:
            return date.fromisoformat(text)
        except ValueError:
            return text
    for kind in (int, float):
        if kind in kinds and (found := _number(text, whole=kind is int)) is not None:
            return found
    return text


def _number(text: str, *, whole: bool) -> int | float | None:
    try:
        number = int(text) if whole else float(text)
    except ValueError:
        return None
    if not whole and math.isfinite(number) and number == int(number) and text.isdigit():
        return int(number)  # 3200 is written as it was typed
    return number if math.isfinite(number) else None


def _kinds(annotation: Any) -> set[Any]:
    """The plain types inside ``float | None``, a list of names or a choice of words."""
    if annotation in (str, int, float, bool, date):
        return {annotation}
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return {BaseModel}
    if get_origin(annotation) is Literal:
        return {str}
    inner = set().union(*(_kinds(a) for a in get_args(annotation)), set())
    return inner | {tuple} if get_origin(annotation) is tuple else inner
