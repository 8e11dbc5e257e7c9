"""The long layout: one value a row."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telemetry import UnreadableLog, describe_columns, read_log


def write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_sensors_with_instants_of_their_own_share_no_row(tmp_path: Path) -> None:
    rows = "".join(
        f"{i * 0.1:.2f};Pack 1;Voltage;{8.2 - i * 0.01:.2f};V\n"
        f"{i * 0.1 + 0.03:.2f};Left wing;Current;{100 * i};mA\n"
        for i in range(20)
    )
    log = read_log(write(tmp_path / "log.csv", "time;sensor;name;value;unit\n" + rows))
    assert log.provenance.layout == "long"
    assert log.provenance.rows == 40
    assert len(log.frame) == 40
    np.testing.assert_allclose(log.values("left wing/current")[1::2], np.arange(20) * 0.1)
    assert np.isnan(log.values("left wing/current")[::2]).all()


def test_a_series_that_comes_twice_in_one_instant_makes_two_rows(tmp_path: Path) -> None:
    rows = "".join(
        f"12:00:0{s};{name};{8 + k / 10:.1f}\n"
        for s in range(5)
        for k in range(4)
        for name in ("Pack 1 voltage", "Bus voltage")
    )
    log = read_log(write(tmp_path / "log.csv", "time;name;value\n" + rows))
    np.testing.assert_allclose(log.time_s, np.arange(20) / 4)
    np.testing.assert_allclose(log.values("bus/voltage"), np.tile([8, 8.1, 8.2, 8.3], 5))


def test_settings_name_the_series(tmp_path: Path) -> None:
    path = write(tmp_path / "log.csv", "time [s],name,value\n" + "".join(
        f"{i},Pack 1 V,8.1\n{i},x,{i % 3}\n" for i in range(20)))  # fmt: skip
    log = read_log(path, settings={"x": "tail/current[A]"})
    assert "tail/current" in log.frame
    listing = describe_columns(path)
    assert [c.title for c in listing.columns] == ["time [s]", "Pack 1 V", "x"]


def test_a_table_of_states_beside_one_value_is_wide(tmp_path: Path) -> None:
    rows = "".join(f"{i},8.1,{('stir', 'rest')[i % 2]}\n" for i in range(20))
    log = read_log(write(tmp_path / "log.csv", "time [s],voltage,mode\n" + rows))
    assert log.provenance.layout == "wide"


def test_refused_rows_of_a_long_file_are_counted(tmp_path: Path) -> None:
    rows = "".join(f"{i},Pack 1 voltage,8.1,V\n{i},Bus voltage,5.9,V\n" for i in range(20))
    text = "time,name,value,unit\n" + rows + "20,Pack 1 voltage,8.1,V,9,9\n21,Bus voltage,5.9,V\n"
    p = read_log(write(tmp_path / "log.csv", text)).provenance
    assert (p.rows, p.rows_refused, p.refused_lines) == (41, 1, (42,))


def test_times_that_no_clock_shows_are_a_problem_not_a_fault(tmp_path: Path) -> None:
    rows = "".join(f"{10**13 + i},Pack 1 voltage,8.2,V\n" for i in range(9))
    path = write(tmp_path / "log.csv", "Time [s],Name,Value,Unit\n" + rows)
    assert "no row has a readable time" in describe_columns(path).problem
    with pytest.raises(UnreadableLog, match="no row has a readable time"):
        read_log(path)


def test_a_column_of_rounding_noise_is_listed(tmp_path: Path) -> None:
    rows = "".join(f"{i},{8.2 + 2e-15 * (i % 3)!r}\n" for i in range(9))
    path = write(tmp_path / "log.csv", "Time [s],Pack 1 voltage [V]\n" + rows)
    assert not describe_columns(path).problem
