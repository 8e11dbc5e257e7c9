"""Units that no header names: settled by what agrees with them, else asked for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from telemetry import Log, read_log
from telemetry.importer.names.scaling import Relation
from telemetry.model.channels import Quantity
from telemetry.model.units import UNITS

N = 1200
T = np.arange(N) * 0.1
RNG = np.random.default_rng(11)
LEFT = np.round(0.4 + RNG.gamma(1.5, 0.5, N), 2)
RIGHT = np.round(0.4 + RNG.gamma(1.5, 0.5, N), 2)
PACK = np.round(LEFT + RIGHT + 0.3, 2)
VOLTS = np.round(6.0 - 0.03 * PACK, 2)
# 1 mAh = 3.6 C (SI Brochure, table 8, and the trapezoid rule).
MAH = cumulative_trapezoid(PACK, T, initial=0.0) / 3.6
DEGREES = np.round(21.0 + 14.0 * (1.0 - np.exp(-T / 60)), 1)


def read(path: Path, **columns: np.ndarray) -> Log:
    path.write_text(
        "\n".join(
            [",".join(["Time [s]", *(n.replace("_", " ") for n in columns)])]
            + [",".join(map(str, row)) for row in zip(np.round(T, 1), *columns.values())]  # noqa: B905
        )
        + "\n"
    )
    return read_log(path)


def whole(values: np.ndarray, counts: float) -> np.ndarray:
    return np.round(values * counts).astype(int)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


@pytest.mark.parametrize("counts", [10, 100, 1000])
def test_the_charge_tells_the_unit_of_the_current(counts: int, log: Path) -> None:
    got = read(log, Pack_1_current=whole(PACK, counts), **{"Pack_1_consumed [mAh]": whole(MAH, 1)})
    np.testing.assert_allclose(got.values("pack 1/current"), PACK, atol=0.51 / counts)
    assert "the charge grows with the current" in got.channels[1].reason


@pytest.mark.parametrize(
    ("counts", "unit"), [(1.0, "mAh"), (0.1, "10 mAh"), (3.6, "As"), (0.001, "Ah")]
)
def test_the_current_tells_the_unit_of_the_charge(counts: float, unit: str, log: Path) -> None:
    cells = np.round(MAH * counts, 4) if counts < 0.1 else whole(MAH, counts)
    got = read(log, Pack_1_consumed=cells, **{"Pack_1_current [A]": PACK})
    assert got.channels[1].source_unit == unit
    np.testing.assert_allclose(got.values("pack 1/consumed"), MAH, atol=5.1)


@pytest.mark.parametrize("share", [0.0, 0.5])
def test_both_without_a_unit_and_full_of_stand_ins(share: float, log: Path) -> None:
    lost = RNG.random(N) < share
    amps, mah = whole(PACK, 100), whole(MAH, 1)
    got = read(
        log,
        Pack_1_current=np.where(lost, 65535, amps),
        Pack_1_consumed=np.where(np.roll(lost, 7), 32767, mah),
    )
    seen = got.values("pack 1/current")
    np.testing.assert_allclose(seen[~lost], PACK[~lost], atol=0.006)
    assert np.isnan(seen[lost]).all()
    assert [c.source_unit for c in got.channels[1:]] == ["0.01 A", "mAh"]


def test_nodes_and_packs_share_one_current(log: Path) -> None:
    got = read(
        log, Left_wing_current=whole(LEFT, 10), Right_wing_current=whole(RIGHT, 10),
        **{"Pack_1_current [A]": PACK},
    )  # fmt: skip
    np.testing.assert_allclose(got.values("left wing/current"), LEFT, atol=0.051)


def test_a_voltage_is_that_of_its_supply_and_of_its_cells(log: Path) -> None:
    # 59 is 59 V or 5.9 V by itself; 42 is 42 V or, of one cell, 4.2 V.
    got = read(log, Left_wing_voltage=whole(VOLTS, 10), **{"Bus_voltage [V]": VOLTS})
    np.testing.assert_allclose(got.values("left wing/voltage"), VOLTS, atol=0.051)
    cells = {f"Pack_1_cell_{n}_voltage [V]": np.round(VOLTS / 2, 3) for n in (1, 2)}
    got = read(log, Pack_1_voltage=whole(VOLTS, 10), **cells)
    np.testing.assert_allclose(got.values("pack 1/voltage"), VOLTS, atol=0.051)


@pytest.mark.parametrize("cells", [whole(DEGREES, 10), np.round(DEGREES * 1.8 + 32, 1),
                                   np.round(DEGREES + 273.15, 2)])  # fmt: skip
def test_a_temperature_begins_like_another(cells: np.ndarray, log: Path) -> None:
    ambient = np.round(21.0 + 0.2 * RNG.random(N), 1)
    got = read(log, Regulator_temperature=cells, **{"Ambient_temperature [degC]": ambient})
    np.testing.assert_allclose(got.values("regulator/temperature"), DEGREES, atol=0.06)


@pytest.mark.parametrize(
    ("columns", "maybe"),
    [
        ({"Left_wing_current": whole(LEFT, 10)}, "A, 0.1 A or 0.01 A"),
        ({"Left_wing_current": whole(LEFT, 150)}, "mA or 0.01 A"),
        ({"Left_wing_voltage": whole(VOLTS, 10)}, "V or 0.1 V"),
        ({"Regulator_temperature": np.round(DEGREES * 1.8 + 32, 1)}, "degC or degF"),
    ],
)
def test_what_nothing_settles_is_asked_for_and_not_read(
    columns: dict[str, np.ndarray], maybe: str, log: Path
) -> None:
    got = read(log, **columns)
    channel = got.channels[1]
    assert channel.quantity is Quantity.UNKNOWN
    assert len(channel.rivals) == 1 + maybe.count(",") + 1
    note = got.provenance.notes[-1]
    assert f"names no unit, and its values may be {maybe}: it is not read" in note


@pytest.mark.parametrize("wild", [-90_000, 90_000, 4_294_967_295])
@pytest.mark.parametrize("sign", [1, -1])
def test_one_wild_cell_turns_no_column_and_no_unit(wild: int, sign: int, log: Path) -> None:
    amps = np.round(sign * PACK, 2)
    amps[-1] = wild
    got = read(log, Pack_1_current=amps, **{"Pack_1_voltage [V]": VOLTS})
    np.testing.assert_allclose(got.values("pack 1/current")[:-1], PACK[:-1], atol=0.006)


@pytest.mark.parametrize("cell", ["7e30", "65535", "-5", "nan", "99999999"])
@pytest.mark.parametrize("row", [0, 600])
def test_a_corrupt_cell_of_a_counter_does_not_count(cell: str, row: int, log: Path) -> None:
    mah = np.floor(MAH).astype(int).astype(str).astype(object)
    mah[row] = cell
    got = read(log, Pack_1_consumed=mah, **{"Pack_1_current [A]": PACK})
    np.testing.assert_allclose(np.delete(got.values("pack 1/consumed"), row),
                               np.delete(np.floor(MAH), row))  # fmt: skip


@pytest.mark.parametrize(("y", "holds"), [(0.4, False), (0.5, True), (2.0, True), (2.1, False)])
def test_a_relation_includes_both_its_limits(y: float, holds: bool) -> None:
    related = Relation(0, 1, x=1.0, y=y, low=0.5, high=2.0, kind="alike", why="by hand")
    assert related.holds(UNITS["A"], UNITS["A"]) is holds
