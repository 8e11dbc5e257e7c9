"""Odd values: numbers that nobody measured, units that are not told, marks within numbers."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tests.accuracy.odd_files.draft import FACTORS, Column, Draft, clock
from tests.accuracy.odd_files.kinds import kind


def put(c: Column, rows: np.ndarray, cell: str) -> None:
    """Put a cell that is no reading of the column in some rows."""
    for k in np.atleast_1d(rows):
        c.cells[k] = cell
        c.values[k] = np.nan


def scattered(d: Draft, share: float) -> np.ndarray:
    """Rows of a share, at least three, in short runs, none in the planted event."""
    n = len(d.time_s)
    count = max(3, int(share * n))
    free = np.flatnonzero(~_event(d))
    return np.sort(d.rng.choice(free, min(count, len(free)), replace=False))


def _event(d: Draft) -> np.ndarray:
    """Rows near a planted brownout, which a review must still be able to see."""
    out = np.zeros(len(d.time_s), dtype=bool)
    for s in d.flight.series:
        if d.flight.brownout and s.quantity == "voltage" and s.place == d.flight.brownout:
            low = s.values < 3.2
            out |= np.convolve(low, np.ones(9), mode="same") > 0
    return out[: len(d.time_s)]


# Sentinels: what a sensor writes for "no reading".
def _sentinel(number: float, share: float, quantities: tuple[str, ...], unit: str = "") -> Callable:
    def apply(d: Draft) -> None:
        for c in {id(x): x for x in (d.one(*quantities), d.one(*quantities))}.values():
            if unit:
                c.in_unit(unit)
                c.render()
            put(c, scattered(d, share), f"{number:.{c.decimals if number % 1 else 0}f}")

    return apply


POWER = ("voltage", "current")
for _name, _number, _share, _of, _unit in (
    ("65535-few", 65535, 0.004, POWER, ""), ("65535-tenth", 65535, 0.1, POWER, ""),
    ("65535-half", 65535, 0.5, POWER, ""), ("65535-in-mv", 65535, 0.02, ("voltage",), "mV"),
    ("32767-few", 32767, 0.004, POWER, ""), ("32767-in-ma", 32767, 0.05, ("current",), "mA"),
    ("minus-32768", -32768, 0.03, POWER, ""), ("9999-some", 9999, 0.05, POWER, ""),
    ("99.99-some", 99.99, 0.03, ("voltage",), ""), ("327.67-some", 327.67, 0.03, POWER, ""),
    ("655.35-some", 655.35, 0.2, POWER, ""), ("minus-999", -999, 0.02, POWER, ""),
    ("minus-one", -1, 0.1, ("voltage",), ""),
    ("255-degrees", 255, 0.05, ("temperature", "voltage"), ""),
    ("consumed-65535", 65535, 0.02, ("consumed",), ""), ("1e9-few", 1e9, 0.005, POWER, ""),
):  # fmt: skip
    kind("values", f"sentinel-{_name}")(_sentinel(_number, _share, _of, _unit))


@kind("values", "sentinel-until-awake")
def sentinel_until_awake(d: Draft) -> None:
    """Sensors write 65535 until they have something to say."""
    for c in d.of("voltage", "current", "temperature"):
        put(c, np.arange(int(d.rng.integers(5, 60))), "65535")


@kind("values", "sentinel-together")
def sentinel_together(d: Draft) -> None:
    """All columns of one place lose their readings together."""
    place = d.one("current").place
    rows = scattered(d, 0.03)
    for c in d.data():
        if c.place == place:
            put(c, rows, "32767")


@kind("values", "sentinel-no-unit")
def sentinel_no_unit(d: Draft) -> None:
    d.unit_style = "none"
    put(d.one("voltage"), scattered(d, 0.1), "65535")
    put(d.one("current"), scattered(d, 0.1), "65535")


# Wild cells and garbage.
@kind("values", "wild-one-voltage")
def wild_one_voltage(d: Draft) -> None:
    put(
        d.one("voltage"),
        scattered(d, 0)[:1],
        str(d.rng.choice(["8400", "-74.2", "4.1e12", "830.1"])),
    )


@kind("values", "wild-one-current")
def wild_one_current(d: Draft) -> None:
    put(d.one("current"), scattered(d, 0)[:1], str(d.rng.choice(["12000", "-3276.8", "1e30"])))


@kind("values", "wild-no-unit")
def wild_no_unit(d: Draft) -> None:
    d.unit_style = "none"
    put(d.one("voltage"), scattered(d, 0)[:1], "8012")
    put(d.one("current"), scattered(d, 0)[:1], "15000")


@kind("values", "garbage-last-row")
def garbage_last_row(d: Draft) -> None:
    """The file ends in a row of numbers that mean nothing."""
    for c in d.data():
        put(c, np.array([len(d.time_s) - 1]), f"{d.rng.integers(-30000, 60000)}")


@kind("values", "garbage-last-row-no-unit")
def garbage_last_row_no_unit(d: Draft) -> None:
    d.unit_style = "none"
    garbage_last_row(d)


@kind("values", "garbage-first-rows")
def garbage_first_rows(d: Draft) -> None:
    for k in range(int(d.rng.integers(1, 5))):
        for c in d.data():
            put(c, np.array([k]), f"{d.rng.integers(-30000, 60000)}")


@kind("values", "zero-first-rows")
def zero_first_rows(d: Draft) -> None:
    """Zeros until the first telemetry comes in."""
    rows = np.arange(int(d.rng.integers(2, 12)))
    for c in d.data():
        put(c, rows, "0")
        c.values[rows] = 0.0  # what stands there is a number like any other


@kind("values", "words-among")
def words_among(d: Draft) -> None:
    word = str(d.rng.choice(["ERR", "???", "OVF", "#####", "fail"]))
    for _ in range(3):
        put(d.one("voltage", "current"), scattered(d, 0.01), word)


@kind("values", "infinite")
def infinite(d: Draft) -> None:
    put(d.one("current"), scattered(d, 0.01), str(d.rng.choice(["inf", "-Infinity", "1.#INF"])))


@kind("values", "hex-garbage")
def hex_garbage(d: Draft) -> None:
    put(d.one("voltage"), scattered(d, 0.004), "0x1F4A")


@kind("values", "counter-corrupt-first")
def counter_corrupt_first(d: Draft) -> None:
    put(d.one("consumed"), np.array([0]), str(d.rng.choice(["4294967295", "-1", "1e18", "65535"])))


@kind("values", "counter-corrupt-middle")
def counter_corrupt_middle(d: Draft) -> None:
    put(
        d.one("consumed"), scattered(d, 0)[:2], str(d.rng.choice(["4294967295", "-32768", "61234"]))
    )


@kind("values", "uptime-corrupt")
def uptime_corrupt(d: Draft) -> None:
    for c in d.of("uptime"):
        put(c, np.array([0]), "1.2e308")
        put(c, scattered(d, 0)[:2], "4294967295")


@kind("values", "counter-blank-start")
def counter_blank_start(d: Draft) -> None:
    for c in d.of("consumed"):
        put(c, np.arange(int(d.rng.integers(3, 30))), "")


# Marks within numbers.
@kind("values", "decimal-comma")
def decimal_comma(d: Draft) -> None:
    d.sep, d.decimal = ";", ","
    for c in d.columns:
        c.cells = [x.replace(".", ",") for x in c.cells]


@kind("values", "decimal-comma-quoted")
def decimal_comma_quoted(d: Draft) -> None:
    decimal_comma(d)
    d.sep = ","


@kind("values", "decimal-comma-bare", alone=True)
def decimal_comma_bare(d: Draft) -> None:
    """The comma is decimal mark and separator, without quotes: nobody could part all cells."""
    decimal_comma_quoted(d)
    d.edits.append(lambda text: text.replace('"', ""))
    d.expects = "asked"


@kind("values", "decimal-comma-tab")
def decimal_comma_tab(d: Draft) -> None:
    decimal_comma(d)
    d.sep = "\t"


def _thousands(mark: str, sep: str, decimal: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        d.sep, d.decimal = sep, decimal
        for c in d.of("voltage", "current"):
            if c.quantity == "voltage" or d.rng.random() < 0.5:
                c.in_unit("mV" if c.quantity == "voltage" else "mA")
        for c in d.data():
            scaled = c.values / FACTORS[c.unit]
            table = str.maketrans(",.", mark + decimal) if mark != "," else {}
            c.cells = [f"{v:,.{c.decimals}f}".translate(table) if np.isfinite(v) else ""
                       for v in scaled]  # fmt: skip
        for c in d.of("time"):
            c.cells = [x.replace(".", decimal) for x in c.cells]

    return apply


kind("values", "thousands-dot")(_thousands(".", ";", ","))
kind("values", "thousands-comma")(_thousands(",", ";", "."))
kind("values", "thousands-apostrophe")(_thousands("'", ";", "."))
kind("values", "thousands-no-break")(_thousands("\u00a0", ";", ","))
kind("values", "thousands-narrow")(_thousands("\u202f", "\t", ","))


def _in_cells(form: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        d.unit_style = "none"
        for c in d.data():
            if c.unit:
                c.cells = [form.format(x, c.printed_unit) if x else "" for x in c.cells]

    return apply


kind("values", "unit-in-cells")(_in_cells("{} {}"))
kind("values", "unit-in-cells-glued")(_in_cells("{}{}"))
kind("values", "unit-in-cells-bracket")(_in_cells("{} [{}]"))


@kind("values", "unit-in-cells-comma")
def unit_in_cells_comma(d: Draft) -> None:
    decimal_comma(d)
    _in_cells("{} {}")(d)


# Units that are not told, or told in an odd way.
def _scaled(units: dict[str, str], *, told: bool, some: bool = False) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        for c in d.of(*units):
            if some and d.rng.random() < 0.5:
                continue
            c.in_unit(units[c.quantity])
            c.render()
        d.unit_style = "[]" if told else "none"

    return apply


for _name, _units in (
    ("mv-ma", {"voltage": "mV", "current": "mA"}), ("mv", {"voltage": "mV"}),
    ("ma", {"current": "mA"}), ("cv", {"voltage": "cV"}),
    ("cv-ca", {"voltage": "cV", "current": "cA"}),
    ("dv-da", {"voltage": "dV", "current": "dA"}), ("ca", {"current": "cA"}),
    ("da", {"current": "dA"}),
    ("ah", {"consumed": "Ah"}), ("as", {"consumed": "As"}),
    ("tenth-degree", {"temperature": "0.1 degC"}),
):  # fmt: skip
    kind("values", f"scale-open-{_name}")(_scaled(_units, told=False))
for _name, _units in (
    ("mv-ma", {"voltage": "mV", "current": "mA"}), ("cv-ca", {"voltage": "cV", "current": "cA"}),
    ("dv-da", {"voltage": "dV", "current": "dA"}),
    ("10mv", {"voltage": "10 mV", "current": "10 mA"}),
    ("ah", {"consumed": "Ah"}), ("as", {"consumed": "As"}),
    ("ft-kmh", {"altitude": "ft", "speed": "km/h"}),
):  # fmt: skip
    kind("values", f"scale-told-{_name}")(_scaled(_units, told=True))
kind("values", "scale-told-mixed")(
    _scaled({"voltage": "mV", "current": "mA"}, told=True, some=True)
)


@kind("values", "unit-says-volts-values-mv")
def unit_says_volts(d: Draft) -> None:
    """The header says V and the numbers are millivolts: only their size tells."""
    for c in d.of("voltage"):
        c.in_unit("mV")
        c.render()
        c.unit = "V"


@kind("values", "current-negative")
def current_negative(d: Draft) -> None:
    """Every current that is drawn is written as a negative number."""
    for c in d.of("current"):
        c.sign = -1.0
        c.render()


@kind("values", "current-negative-packs")
def current_negative_packs(d: Draft) -> None:
    """Packs give, nodes take: discharging is negative, drawing is positive."""
    for c in d.of("current"):
        if c.place.startswith("pack"):
            c.sign = -1.0
            c.render()


# Ways to write a number.
def _written(form: Callable[[float, int], str]) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        for c in d.data():
            scaled = c.values / FACTORS[c.unit]
            c.cells = [form(float(v), c.decimals) if np.isfinite(v) else "" for v in scaled]

    return apply


kind("values", "scientific")(_written(lambda v, k: f"{v:.{k + 2}E}"))
kind("values", "plus-sign")(_written(lambda v, k: f"{v:+.{k}f}"))
kind("values", "leading-zeros")(_written(lambda v, k: f"{v:08.{k}f}"))
kind("values", "no-leading-zero")(
    _written(lambda v, k: f"{v:.{k}f}".replace("0.", ".", 1) if 0 < v < 1 and k else f"{v:.{k}f}")
)
kind("values", "trailing-zeros")(_written(lambda v, k: f"{v:.{k + 4}f}"))
kind("values", "float-noise")(_written(lambda v, _: repr(float(np.float32(v)) * (1 + 1e-9))))
kind("values", "padded")(_written(lambda v, k: f"{v:>14.{k}f} "))
kind("values", "typographic-minus")(_written(lambda v, k: f"{v:.{k}f}".replace("-", "\u2212")))


@kind("values", "no-value-signs")
def no_value_signs(d: Draft) -> None:
    for c in d.data():
        put(
            c,
            scattered(d, 0.05),
            str(d.rng.choice(["-", "--", "n/a", "NaN", "null", "NULL", "N/A", "*"])),
        )


@kind("values", "held-blank")
def held_blank(d: Draft) -> None:
    """A cell is written only when the sensor has a new reading."""
    for k, c in enumerate(d.data()):
        every = int(d.rng.integers(2, 4))
        rows = np.arange(len(d.time_s))
        put(c, rows[(rows + k) % every != 0], "")


@kind("values", "held-repeats")
def held_repeats(d: Draft) -> None:
    """The last reading is written again until the next comes in."""
    for c in d.data():
        every = int(d.rng.integers(1, 4))
        rows = np.arange(len(d.time_s)) // every * every
        c.values = c.values[rows]
        c.cells = [c.cells[k] for k in rows]


@kind("values", "sensor-late")
def sensor_late(d: Draft) -> None:
    """A column is empty for the first third."""
    put(d.one("voltage", "current"), np.arange(len(d.time_s) // 4), "")


@kind("values", "zero-column")
def zero_column(d: Draft) -> None:
    """A sensor that is not there writes zeros for ever."""
    for unit, quantity in (("V", "voltage"), ("A", "current")):
        c = Column("junk", "", np.full(len(d.time_s), np.nan), 0.01, unit, name=f"spare {quantity}")
        c.cells = ["0.00"] * len(d.time_s)
        d.columns.append(c)


@kind("values", "mode-words")
def mode_words(d: Draft) -> None:
    words = np.array(["idle", "armed", "run"])
    c = Column("junk", "", np.full(len(d.time_s), np.nan), 1.0, name="mode")
    c.cells = list(words[np.sort(d.rng.integers(0, 3, len(d.time_s)))])
    d.columns.append(c)


@kind("values", "positions-with-letters")
def positions_with_letters(d: Draft) -> None:
    n = len(d.time_s)
    d.columns.append(
        clock("position", [f"N47.{k % 9000 + 1000} E8.{k % 7000 + 1000}" for k in range(n)])
    )
    d.columns[-1].quantity = "junk"
