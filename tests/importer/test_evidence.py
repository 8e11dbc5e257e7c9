"""Values check names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telemetry import UnreadableLog, read_log
from telemetry.importer.names.evidence import judge_unit, reversed_current, shape_of
from telemetry.model.channels import Quantity
from telemetry.model.units import UNITS

V, A = Quantity.VOLTAGE, Quantity.CURRENT


@pytest.mark.parametrize(
    ("top", "quantity", "unit", "symbol"),
    [
        (8.25, V, None, "V"),
        (4000.0, V, None, "mV"),
        (8254.0, V, None, "mV"),
        (826.0, V, None, "cV"),
        (252.0, V, None, "0.1 V"),
        (50.4, V, None, "V"),
        (8254.0, V, "V", "mV"),
        (8254.0, V, "mV", "mV"),
        (8.254, V, "mV", "V"),
        (4.2, Quantity.CELL_VOLTAGE, None, "V"),
        (4200.0, Quantity.CELL_VOLTAGE, None, "mV"),
        (420.0, Quantity.CELL_VOLTAGE, "V", "cV"),
        (12.25, A, None, "A"),
        (12250.0, A, None, "mA"),
        (350.0, A, None, "mA"),
        (5000.0, A, "A", "mA"),
        (35.5, Quantity.TEMPERATURE, None, "degC"),
        (355.0, Quantity.TEMPERATURE, None, "0.1 degC"),
        (2500.0, Quantity.CONSUMED, None, "mAh"),
        (2.125, Quantity.CONSUMED, None, "Ah"),
    ],
)
def test_units_by_size(top: float, quantity: Quantity, unit: str | None, symbol: str) -> None:
    step = 1.0 if top.is_integer() else 0.0005
    values = top - step * np.arange(0, 40) % 7
    named = UNITS[unit] if unit else None
    judged = judge_unit(shape_of(values), quantity, named)
    assert judged.unit is not None
    assert judged.unit.symbol == symbol
    if unit != symbol and symbol not in ("V", "A", "degC", "mAh"):
        assert judged.why


def test_a_size_that_fits_two_units_names_the_rival() -> None:
    judged = judge_unit(shape_of(np.full(40, 640.0)), V, None)
    assert judged.unit is not None
    assert [judged.unit.symbol, *(u.symbol for u in judged.rivals)] == ["cV", "0.1 V"]


@pytest.mark.parametrize(("volts", "fits"), [(0.0, 1.0), (0.2, 0.7), (8.2, 1.0)])
def test_next_to_nothing_doubts_the_unit_and_nothing_does_not(volts: float, fits: float) -> None:
    """A dead input shows 0 V in every unit."""
    judged = judge_unit(shape_of(np.full(40, volts)), V, UNITS["V"])
    assert (judged.unit, judged.fit) == (UNITS["V"], fits)


def test_shape() -> None:
    counter = shape_of(np.repeat(np.arange(20.0), 3))
    assert counter.only_grows
    assert not counter.only_falls
    assert counter.whole
    assert not shape_of(np.r_[np.arange(40.0), 0.0, np.arange(20.0)]).only_grows
    assert not shape_of(np.r_[np.zeros(50), np.full(50, 7.0)]).only_grows  # a step
    assert shape_of(np.array([np.nan])).count == 0


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("charging", [0.0, 0.4])
def test_the_sign_of_a_current_is_told_by_its_voltage(sign: float, charging: float) -> None:
    # A cell with 20 mOhm: the voltage falls when current is drawn, whatever its sign says.
    rng = np.random.default_rng(0)
    drawn = rng.choice([0.0, 2.0, 5.0, -3.0], 400, p=[0.2, 0.4 - charging / 2, 0.4 - charging / 2,
                                                      charging])  # fmt: skip
    voltage = 3.8 - 0.020 * drawn + rng.normal(0, 0.002, 400)
    turned, why = reversed_current(sign * drawn, voltage)
    assert turned == (sign < 0)
    assert bool(why) or sign > 0


def test_a_sign_that_nothing_tells_is_left_alone() -> None:
    turned, why = reversed_current(np.array([1.0, -1.0, 2.0, -2.0]), None)
    assert not turned
    assert "could not be told" in why
    assert reversed_current(np.array([-1.0, -2.0]), None)[0]
    assert not reversed_current(np.array([1.0, 2.0, -0.1]), None)[0]


def test_a_pack_that_the_other_charges_is_not_turned_round() -> None:
    # Two packs of 40 mOhm at one bus, 0.3 V apart: 3.75 A flow from one to the other.
    load = np.random.default_rng(1).choice([0.5, 1.0, 3.0, 6.0], 400)
    giving, charged = load / 2 + 3.75, load / 2 - 3.75
    assert charged.max() < 0
    assert reversed_current(charged, None)[0]
    turned, why = reversed_current(charged, None, giving)
    assert not turned
    assert "charges" in why
    assert reversed_current(-giving, None, giving)[0], "a sensor the wrong way round"
    charged[[60, 70, 80]] = -40.0, 8.0, 53.0
    assert not reversed_current(charged, None, giving)[0], "a slipped point tells nothing"


@pytest.mark.parametrize(
    ("times", "seconds"),
    [
        ("0 100 200 300 400", 0.4),  # whole counts in steps of 10 and more: milliseconds
        ("0 1 100 101 200 300 400", 0.4),  # ... written in bursts, too
        ("0.5 100.5 200.5 300.5 400.5", 0.4),
        (
            "0.5 1.5 2.5 3.5 60.5 120.5 180.5 240.5",
            240.0,
        ),  # an instrument's seconds, seldom at rest
        ("0.5 2.5 4.5 6.5 60.5 120.5 180.5 240.5", 0.24),  # from 2 ms on rows can be so close
        ("0 1 2 3 4", 4.0),
        ("0 25 50 75 100", 0.1),
        ("0 0.01 0.02 0.03 0.04", 0.04),
        ("0 50000 100000 150000", 0.15),
        ("0 100000000 200000000", 0.2),
    ],
)
def test_the_unit_of_a_time_by_its_steps(times: str, seconds: float, tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{t},{8.1 - 0.01 * i:.2f}" for i, t in enumerate(times.split())]
    path.write_text("\n".join(["Time,Bus voltage [V]", *rows]) + "\n")
    assert read_log(path).time_s[-1] == pytest.approx(seconds)


@pytest.mark.parametrize(
    ("times", "maybe"),
    [
        ("0 10 20 30 40", "seconds, milliseconds, tenths of a second or hundredths of a second"),
        ("0 9 18 27 36", "seconds, milliseconds, tenths of a second or hundredths of a second"),
        ("0 0.0017 0.0033 0.005 0.0067", "minutes or hours"),
        ("0 7000 14000 21000", "milliseconds or microseconds"),
    ],
)
def test_a_time_scale_that_nothing_decides_is_asked_for(
    times: str, maybe: str, tmp_path: Path
) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{t},{8.1 - 0.01 * i:.2f}" for i, t in enumerate(times.split())]
    path.write_text("\n".join(["Time,Bus voltage [V]", *rows]) + "\n")
    with pytest.raises(UnreadableLog, match=f"may be {maybe}; settle it with --set 'Time=time"):
        read_log(path)


@pytest.mark.parametrize(
    ("symbol", "second"),
    [("0.01s", 100), ("0.1s", 10), ("ms", 1e3), ("s", 1), ("min", 1 / 60), ("h", 1 / 3600)],
)
def test_the_charge_that_flowed_says_what_the_time_counts(
    symbol: str, second: float, tmp_path: Path
) -> None:
    """2 A for 1 s are 2/3.6 mAh (SI: 1 mAh = 3.6 C)."""
    rows = [f"{0.1 * i * second:.8g},{2 + i % 3},{int(0.1 * i * 3 / 3.6)}" for i in range(900)]
    path = tmp_path / "log.csv"
    head = "Time,Pack 1 current [A],Pack 1 consumed [mAh]"
    path.write_text("\n".join([head, *rows]) + "\n")
    log = read_log(path)
    assert log.time_s[-1] == pytest.approx(89.9, abs=2.0 if symbol in ("s", "0.1s") else 0.01)
    assert "the charge that flowed says so" in log.provenance.time_form


@pytest.mark.parametrize("charges", [True, False])
def test_an_exchange_that_dies_away_bends_with_the_load(charges: bool) -> None:
    """Read in turn, no step of one meets one of the other; the means over some readings do."""
    rng = np.random.default_rng(4)
    rows = np.arange(1600)
    load = np.convolve(rng.standard_normal(1640), np.ones(41) / 41, "valid")
    away = 10.0 * np.exp(-rows / 600.0)
    gives = away + 0.4 * load + 3.0
    takes = 0.4 * load - away - 2.0 if charges else -(gives - 1.0)
    in_turn = np.repeat(gives[::4], 4), np.repeat(takes[2::4], 4)
    turned, why = reversed_current(np.round(in_turn[1], 2), None, np.round(in_turn[0], 2))
    assert turned is not charges, why


def test_a_counter_beside_a_current_in_other_rows_is_turned_with_it(tmp_path: Path) -> None:
    """Each in every second row; both count downwards."""
    lines = ["Time (s),Pack 1 voltage (V),Pack 1 current (A),Pack 1 consumed (mAh)"]
    for n in range(400):
        amps = -2.0 - (n // 20) % 3
        lines.append(f"{n * 0.5:g},{8.2 + 0.02 * amps:.2f},{amps:g},{-n // 2 if n % 2 else ''}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines))
    log = read_log(path)
    assert np.nanmin(log.values("pack 1/current")) > 0.0
    assert np.nanmin(log.values("pack 1/consumed")) >= 0.0
