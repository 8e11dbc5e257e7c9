# ruff: noqa: RUF001 - Cyrillic letters are symbols of units too
"""The small exact unit table: what a log's unit is worth in the unit used inside.

Inside, one unit stands for one dimension: V, A, mAh, Ohm, W, Wh, degC, %, dBm, dB, us, rpm, m,
m/s, s, deg, Hz. Factors are exact by definition of the prefixes, of the minute and the hour, of
the international foot (0.3048 m, ISO 80000-3) and of the degree Fahrenheit.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: ``value_inside = value_in_file * factor + offset``.

    Attributes
    ----------
    symbol : str
        As printed ("mV").
    canonical : str
        The unit used inside for this dimension ("V").
    factor, offset : float
        Conversion to the canonical unit.
    """

    symbol: str
    canonical: str
    factor: float = 1.0
    offset: float = 0.0


_TABLE: tuple[tuple[str, str, float, float, tuple[str, ...]], ...] = (
    # symbol, canonical, factor, offset, other spellings (matched without case where that is safe)
    ("V", "V", 1.0, 0.0, ("volt", "volts", "vdc", "v dc")),
    ("mV", "V", 1e-3, 0.0, ("millivolt", "millivolts", "mvolt", "mvolts")),
    ("cV", "V", 1e-2, 0.0, ("centivolt", "centivolts")),
    ("dV", "V", 0.1, 0.0, ("decivolt", "decivolts")),
    ("A", "A", 1.0, 0.0, ("amp", "amps", "ampere", "amperes")),
    ("mA", "A", 1e-3, 0.0, ("milliamp", "milliamps", "milliampere", "mamp", "mamps")),
    ("cA", "A", 1e-2, 0.0, ("centiampere", "centiamperes")),
    ("dA", "A", 0.1, 0.0, ("deciampere", "deciamperes")),
    ("mAh", "mAh", 1.0, 0.0, ("ma h", "ma.h", "ma*h", "ma\u00b7h", "milliamp hours")),
    ("Ah", "mAh", 1000.0, 0.0, ("a h", "a.h", "a\u00b7h", "amp hours")),
    ("As", "mAh", 1 / 3.6, 0.0, ("a s", "coulomb")),
    ("Ohm", "Ohm", 1.0, 0.0, ("ohm", "ohms", "\u2126", "\u03a9")),
    ("mOhm", "Ohm", 1e-3, 0.0, ("mohm", "mohms", "m\u2126", "m\u03a9")),
    ("W", "W", 1.0, 0.0, ("watt", "watts")),
    ("mW", "W", 1e-3, 0.0, ()),
    ("kW", "W", 1e3, 0.0, ()),
    ("Wh", "Wh", 1.0, 0.0, ("w h",)),
    ("mWh", "Wh", 1e-3, 0.0, ()),
    ("kWh", "Wh", 1e3, 0.0, ()),
    ("degC", "degC", 1.0, 0.0, ("\u00b0c", "\u00bac", "deg c", "celsius", "grad c", "\u2103")),
    ("degF", "degC", 5 / 9, -160 / 9, ("\u00b0f", "\u00baf", "deg f", "fahrenheit", "\u2109")),
    ("K", "degC", 1.0, -273.15, ("kelvin",)),
    ("%", "%", 1.0, 0.0, ("percent", "prozent", "pct", "procent", "%rh")),
    ("dBm", "dBm", 1.0, 0.0, ()),
    ("dB", "dB", 1.0, 0.0, ()),
    ("us", "us", 1.0, 0.0, ("\u00b5s", "\u03bcs", "usec", "microseconds")),
    ("rpm", "rpm", 1.0, 0.0, ("1/min", "u/min", "min-1", "min^-1", "r/min", "ot/min", "tr/min")),
    ("m", "m", 1.0, 0.0, ("meter", "metre", "metres", "meters")),
    ("ft", "m", 0.3048, 0.0, ("feet", "foot")),
    ("km", "m", 1000.0, 0.0, ()),
    ("m/s", "m/s", 1.0, 0.0, ("m s-1", "mps")),
    ("km/h", "m/s", 1 / 3.6, 0.0, ("kmh", "kph", "kmph")),
    ("mph", "m/s", 0.44704, 0.0, ("mi/h",)),
    ("kn", "m/s", 1852 / 3600, 0.0, ("kt", "kts", "knots")),
    ("s", "s", 1.0, 0.0, ("sec", "secs", "second", "seconds", "sek", "sekunden")),
    ("ms", "s", 1e-3, 0.0, ("msec", "milliseconds", "millisekunden")),
    ("min", "s", 60.0, 0.0, ("minutes", "minuten")),
    ("h", "s", 3600.0, 0.0, ("hours", "stunden")),
    ("deg", "deg", 1.0, 0.0, ("\u00b0", "degree", "degrees")),
    ("g", "g", 1.0, 0.0, ()),
    ("Hz", "Hz", 1.0, 0.0, ()),
    ("hPa", "hPa", 1.0, 0.0, ("mbar",)),
)

# Whole words, parted by commas, and the Cyrillic symbols of GOST 8.417 (from memory).
_SPELLED: dict[str, str] = {
    "V": "в",
    "mV": "мв",
    "A": "а",
    "mA": "milliamperes, ма",
    "mAh": "milliampere hours, мач, ма\u00b7ч, ма*ч, ма ч",
    "Ah": "ampere hours, ач, а\u00b7ч",
    "Ohm": "ом",
    "W": "вт",
    "degC": "degrees celsius, grad celsius, \u00b0с",
    "degF": "degrees fahrenheit",
    "dBm": "дбм",
    "dB": "дб",
    "rpm": "об/мин",
    "m": "м",
    "m/s": "metres per second, meters per second, м/с",
    "km/h": "kilometres per hour, kilometers per hour, км/ч",
    "mph": "miles per hour",
    "s": "с, сек",
    "ms": "мс",
    "min": "мин",
    "h": "ч",
}
#: Symbols whose small letters are words of a language ("da", "ca."): only as they are printed.
_AS_PRINTED = {"dA", "cA", "dV", "K"}

UNITS: dict[str, Unit] = {row[0]: Unit(row[0], row[1], row[2], row[3]) for row in _TABLE}

# Where case carries the meaning (mA / MA, S / s) the exact symbol is tried before the folded one.
_FOLDED: dict[str, Unit] = {}
for _symbol, _canonical, _factor, _offset, _others in _TABLE:
    _more = [name.strip() for name in _SPELLED.get(_symbol, "").split(",") if name]
    for _name in (*(() if _symbol in _AS_PRINTED else (_symbol,)), *_others, *_more):
        _FOLDED.setdefault(_name.casefold(), UNITS[_symbol])


def parse_unit(text: str) -> Unit | None:
    """The unit a piece of text names, or None.

    Parameters
    ----------
    text : str
        The bare unit as a log prints it: "mV", "°C", "mAh", "U/min". Surrounding brackets,
        parentheses and blanks are removed first.

    Returns
    -------
    Unit or None
        None where the text names no unit of the table; the caller decides what that means.
    """
    bare = re.sub(r"\s+", " ", text.strip().strip("[](){}<>").strip().rstrip("."))
    if not bare:
        return None
    return UNITS.get(bare) or _FOLDED.get(bare.casefold())
