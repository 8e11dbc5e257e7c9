"""Random dialects of CSV files."""

from __future__ import annotations

from numpy.random import Generator

from telemetry.model.channels import Quantity
from telemetry.simulate.telemetry.dialect import Dialect, TimeForm, UnitStyle
from telemetry.simulate.telemetry.words import LANGUAGES
from tests.simulated.machines import pick


def random_dialect(rng: Generator, *, language: str | None = None, long: bool = False) -> Dialect:
    """A dialect drawn at random; decimal mark and separator never collide.

    Parameters
    ----------
    rng : numpy.random.Generator
    language : str or None
        One of ``LANGUAGES``; drawn where None.
    long : bool
        One reading a row.
    """

    spoken = language or pick(rng, *LANGUAGES)
    separator = pick(rng, ",", ";", "\t", "|")
    decimal = pick(rng, ",", ",", ".") if separator != "," else "."
    encoding = pick(rng, "utf-8", "utf-8", "utf-8-sig", "utf-16-le", "cp1252")
    if encoding == "cp1252" and spoken == "cs":
        encoding = "utf-8"  # Windows-1252 has no Czech letters
    style = pick(rng, *UnitStyle)
    units: list[tuple[Quantity, str]] = []
    # Without a printed unit nobody can tell mV from V in earnest: keep to the canonical ones.
    if style is not UnitStyle.NONE:
        if pick(rng, True, False, False):
            units += [(Quantity.VOLTAGE, "mV"), (Quantity.CURRENT, "mA")]
        if pick(rng, True, False, False, False):
            units.append((Quantity.CONSUMED, "Ah"))
        if pick(rng, True, False, False, False):
            units.append((Quantity.TEMPERATURE, "degF"))
    spelling = pick(rng, (("degC", "\N{DEGREE SIGN}C"), ("degF", "\N{DEGREE SIGN}F")), ())
    return Dialect(
        separator=separator,
        decimal=decimal,
        encoding=encoding,
        newline=pick(rng, "\n", "\r\n"),
        language=spoken,
        place_first=pick(rng, True, True, False),
        glue=pick(rng, " ", " ", "_", "-"),
        unit_style=style,
        units=tuple(units),
        unit_spelling=spelling,
        time_form=pick(rng, *TimeForm),
        date_format=pick(rng, "%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y"),
        preamble=pick(rng, "", "", ":", "=", separator),
        comment=pick(rng, "", "", "#"),
        quoted=pick(rng, True, False, False, False, False),
        blank=pick(rng, "", "", "-", "---", "nan", "n/a"),
        trailing=pick(rng, True, False, False, False, False, False),
        counter=pick(rng, True, False, False, False, False, False),
        long=long,
    )
