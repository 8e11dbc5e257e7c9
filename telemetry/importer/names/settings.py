"""What the user settles: "pack 1/voltage[mV]", "time[dmy]", "ignore", for a column each.

A setting has the form ``place/quantity[unit]``. ``place`` is absent for quantities that belong to
no place; behind the quantity may stand a hold or the number of a cell (``bus/voltage/min[V]``,
``pack 1/cell-voltage/3[V]``); without ``[unit]`` the unit is taken from the header or the values.

Time has formats instead of units: ``s``, ``ms``, ``us``, ``ns``, ``0.1s``, ``0.01s``, ``1/64s`` and
its like, ``min``, ``h``, ``d`` for numbers that count up; ``epoch`` (unit found), ``serial``
(spreadsheet days); ``hh:mm:ss``, ``hh:mm`` and ``mm:ss`` for stamps; ``dmy``, ``mdy``, ``ymd`` for
the order of day, month and year.

``ignore`` leaves a column out. ``unknown`` keeps it without a meaning.

Columns are named by their header as in the file; the second of two equal headers by
``Extra#2``; any column, also one without a header, by its number: ``#5``. The keys ``@separator``,
``@decimal`` and ``@encoding`` force the file's dialect.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from telemetry.importer.names.header_cell import parse_scaled
from telemetry.importer.names.words import fits
from telemetry.model.channels import Quantity
from telemetry.model.errors import UnknownSetting
from telemetry.model.units import UNITS, Unit

#: Seconds that one count of a time column may be worth, by what a setting calls it.
TIME_SCALES = {
    "s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "0.1s": 0.1, "0.01s": 0.01,
    "min": 60.0, "h": 3600.0, "d": 86_400.0,
    **{f"1/{2**n}s": 0.5**n for n in range(3, 8)},
}  # fmt: skip
TIME_FORMS = (
    *TIME_SCALES, "epoch", "serial", "hh:mm:ss", "hh:mm", "mm:ss", "dmy", "mdy", "ymd",
)  # fmt: skip
FILE_KEYS = ("@separator", "@decimal", "@encoding")
_FORM = re.compile(r"(?P<path>[^\[\]]*?)\s*(?:\[(?P<unit>[^\[\]]*)\])?")
_HOLDS = ("min", "max", "mean")


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """One column's reading as the user wants it.

    Attributes
    ----------
    quantity : Quantity
    place : str or None
    unit : Unit or None
        None: as the header or the values have it.
    hold : str
    cell : int or None
    time_form : str
        One of TIME_FORMS for a time column, "" otherwise.
    ignore : bool
    """

    quantity: Quantity
    place: str | None = None
    unit: Unit | None = None
    hold: str = ""
    cell: int | None = None
    time_form: str = ""
    ignore: bool = False


def parse_setting(text: str, column: str = "") -> Setting:
    """Read one setting.

    Parameters
    ----------
    text : str
        "place/quantity[unit]" or one of its short forms.
    column : str
        Named in the message.

    Raises
    ------
    UnknownSetting
        The text is not understood; the message names what would be.
    """
    match = _FORM.fullmatch(text.strip())
    if match is None:
        raise UnknownSetting(
            f"the setting '{text}' is not of the form place/quantity[unit]",
            column=column or None,
            hint="write for example 'pack 1/voltage[mV]', 'time[s]' or 'ignore'",
        )
    path, unit_text = match["path"].strip().strip("/"), (match["unit"] or "").strip()
    if path.casefold() == "ignore":
        return Setting(quantity=Quantity.UNKNOWN, ignore=True)
    parts = [p.strip() for p in path.split("/")]
    names = {q.value for q in Quantity}
    at = next((i for i in range(len(parts) - 1, -1, -1) if parts[i].casefold() in names), None)
    if at is None:
        near = difflib.get_close_matches(parts[-1].casefold(), sorted(names), n=1)
        raise UnknownSetting(
            f"the setting '{text}' names no known quantity",
            column=column or None,
            hint=(f"did you mean '{near[0]}'? " if near else "")
            + "quantities are "
            + ", ".join(sorted(names)),
        )
    quantity = Quantity(parts[at].casefold())
    place = "/".join(parts[:at]).casefold() or None
    hold, cell = _tail(parts[at + 1 :], quantity, text, column)
    if quantity is Quantity.TIME:
        form = unit_text.casefold() if unit_text else ""
        if form and form not in TIME_FORMS:
            raise UnknownSetting(
                f"the time format '{unit_text}' is not known",
                column=column or None,
                hint="time formats are " + ", ".join(TIME_FORMS),
            )
        return Setting(quantity=quantity, place=place, time_form=form)
    return Setting(
        quantity=quantity,
        place=place,
        unit=_unit(unit_text, quantity, text, column),
        hold=hold,
        cell=cell,
    )


def _tail(
    rest: Sequence[str], quantity: Quantity, text: str, column: str
) -> tuple[str, int | None]:
    hold, cell = "", None
    for part in rest:
        if part.casefold() in _HOLDS:
            hold = part.casefold()
        elif part.isdigit() and quantity is Quantity.CELL_VOLTAGE:
            cell = int(part)
        elif part:
            raise UnknownSetting(
                f"'{part}' behind the quantity in '{text}' is not understood",
                column=column or None,
                hint="only min, max, mean or the number of a cell may stand there",
            )
    return hold, cell


def _unit(unit_text: str, quantity: Quantity, text: str, column: str) -> Unit | None:
    if not unit_text:
        return None
    unit = parse_scaled(unit_text)
    if unit is None:
        raise UnknownSetting(
            f"the unit '{unit_text}' in '{text}' is not known",
            column=column or None,
            hint="units are " + ", ".join(UNITS),
        )
    if not fits(quantity, unit):
        raise UnknownSetting(
            f"{quantity.value} cannot be in {unit_text}",
            column=column or None,
            hint="give the unit the file uses for it",
        )
    return unit


def find_column(key: str, titles: Sequence[str], names: Sequence[str]) -> int:
    """Which column a key of the settings means.

    Parameters
    ----------
    key : str
        Header text, title ("Extra#2", "column 5") or number ("#5", from 1).
    titles : sequence of str
        One unique title a column.
    names : sequence of str
        Header texts as in the file.

    Raises
    ------
    UnknownSetting
        No column, or several, answer to the key.
    """
    if key in titles:
        return titles.index(key)
    exact = [i for i, n in enumerate(names) if n == key or n.strip() == key.strip()]
    if len(exact) == 1:
        return exact[0]
    number = re.fullmatch(r"#(\d+)", key.strip())
    if number is not None and 1 <= int(number.group(1)) <= len(titles):
        return int(number.group(1)) - 1
    folded = [i for i, t in enumerate(titles) if t.strip().casefold() == key.strip().casefold()]
    if len(folded) == 1:
        return folded[0]
    near = difflib.get_close_matches(key, titles, n=1, cutoff=0.5)
    shown = ", ".join(f"'{t}'" for t in titles[:30]) + (", ..." if len(titles) > 30 else "")
    raise UnknownSetting(
        f"the log has no column '{key}'",
        hint=(f"did you mean '{near[0]}'? " if near else "")
        + f"columns are {shown}; '#1' to '#{len(titles)}' work too",
    )


def file_settings(settings: Mapping[str, str]) -> dict[str, str]:
    """The settings that force the dialect, checked.

    Parameters
    ----------
    settings : mapping

    Returns
    -------
    dict
        Keys of FILE_KEYS to values ("tab" and "space" spelled out as marks).
    """
    found = {}
    for key in settings:
        if not key.startswith("@"):
            continue
        if key not in FILE_KEYS:
            raise UnknownSetting(
                f"the setting '{key}' is not known",
                hint="file settings are " + ", ".join(FILE_KEYS),
            )
        value = settings[key]
        if key == "@separator":
            value = {"tab": "\t", "\\t": "\t", "space": " ", "spaces": " "}.get(value, value)
            if value not in ("\t", ";", "|", ",", " ", "  "):
                raise UnknownSetting(
                    f"the separator '{value}' is not known",
                    hint="separators are , ; | tab and space",
                )
        if key == "@decimal" and value not in (".", ","):
            raise UnknownSetting(f"the decimal mark '{value}' is not known", hint="use . or ,")
        found[key] = value
    return found


def text_of(
    quantity: Quantity, place: str | None, unit: str = "", hold: str = "", cell: int | None = None
) -> str:
    """A reading in the form of a setting: "bus/voltage/min[V]".

    Parameters
    ----------
    quantity : Quantity
    place : str or None
    unit : str
    hold : str
    cell : int or None
    """
    path = [p for p in (place, quantity.value, hold, None if cell is None else str(cell)) if p]
    return "/".join(path) + (f"[{unit}]" if unit else "")
