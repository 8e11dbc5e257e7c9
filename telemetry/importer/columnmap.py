"""Column maps: decisions about columns, kept for later logs with the same header.

A map is a small TOML file::

    name = "tern"
    fingerprint = "3f1c..."          # of the header it was made for

    [columns]
    "A7" = "pack 1/voltage[V]"
    "Extra#2" = "ignore"
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from telemetry.importer.names.settings import parse_setting
from telemetry.importer.text.layout import TableLayout
from telemetry.model.errors import OutputError, UnknownSetting
from telemetry.model.files import read_small_text, toml_of


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnMap:
    """Readings for the columns of one kind of log.

    Attributes
    ----------
    name : str
    fingerprint : str
        Of the header it holds for.
    readings : mapping of str to str
        Column title to "place/quantity[unit]".
    """

    name: str
    fingerprint: str
    readings: Mapping[str, str] = field(default_factory=dict)


def fingerprint(layout: TableLayout) -> str:
    """What identifies a header: its names, units and sensors, or the number of columns.

    Parameters
    ----------
    layout : TableLayout
    """
    rows = [[" ".join(c.split()) for c in row] for row in (layout.sensors, layout.names,
                                                            layout.units)]  # fmt: skip
    while rows[1] and not rows[1][-1] and not (rows[2] and rows[2][len(rows[1]) - 1]):
        rows = [row[: len(rows[1]) - 1] for row in rows]
    text = json.dumps(rows if layout.names else layout.fields, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def to_toml(saved: ColumnMap) -> str:
    """A map as TOML text.

    Parameters
    ----------
    saved : ColumnMap
    """
    lines = [f"name = {_quote(saved.name)}", f"fingerprint = {_quote(saved.fingerprint)}", ""]
    lines.append("[columns]")
    lines.extend(f"{_quote(k)} = {_quote(v)}" for k, v in saved.readings.items())
    return "\n".join(lines) + "\n"


def _quote(text: str) -> str:
    # JSON's escapes are TOML's, except that TOML wants DEL escaped too.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def save_column_map(saved: ColumnMap, path: str | Path) -> None:
    """Write a map aside and rename it into place.

    Parameters
    ----------
    saved : ColumnMap
    path : path

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    target = Path(path)
    aside = target.with_name(f"{target.name}.{os.getpid()}.part")
    try:
        aside.write_text(to_toml(saved), encoding="utf-8", newline="\n")
        aside.replace(target)
    except OSError as error:
        with contextlib.suppress(OSError):
            aside.unlink(missing_ok=True)
        raise OutputError(
            f"the column map cannot be written ({error.strerror or error})",
            path=path,
            hint="check the folder and its permissions",
        ) from None


def load_column_map(path: str | Path) -> ColumnMap:
    """Read a map.

    Parameters
    ----------
    path : path

    Returns
    -------
    ColumnMap

    Raises
    ------
    UnknownSetting
        The file is no column map, or one of its readings is not understood.
    """
    try:
        raw = toml_of(read_small_text(path))
    except OSError as error:
        raise UnknownSetting(
            f"the column map cannot be read ({error.strerror or error})",
            path=path,
            hint="check the path",
        ) from None
    except (ValueError, RecursionError) as error:
        raise UnknownSetting(
            f"is no column map ({error})", path=path, hint="write one with 'busbook columns --save'"
        ) from None
    readings = raw.get("columns")
    if not isinstance(raw.get("fingerprint"), str) or not isinstance(readings, dict):
        raise UnknownSetting(
            "is no column map: 'fingerprint' or [columns] is missing",
            path=path,
            hint="write one with 'busbook columns --save'",
        )
    for key, value in readings.items():
        if not isinstance(value, str):
            raise UnknownSetting("a reading must be text", path=path, column=key)
        parse_setting(value, key)
    name = raw.get("name")
    return ColumnMap(
        name=name if isinstance(name, str) else Path(path).stem,
        fingerprint=raw["fingerprint"],
        readings=dict(readings),
    )
