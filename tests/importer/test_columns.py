"""All columns of a log together, listings for the user, and column maps."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from telemetry import (
    ColumnMap,
    OutputError,
    UnknownSetting,
    UnreadableLog,
    describe_columns,
    load_column_map,
    read_log,
    save_column_map,
)

RNG = np.random.default_rng(5)
T = np.arange(100) * 0.2
AMPS = np.round(2 + np.abs(np.sin(T)) * 5 + RNG.random(100), 3)
PACK = np.round(8.2 - 0.02 * AMPS, 3)
BUS = np.round(5.9 - 0.01 * AMPS, 3)
CELL = np.round(3.95 - 0.01 * AMPS, 3)
MAH = np.round(np.cumsum(AMPS) * 0.2 / 3.6, 1)


def write(path: Path, **columns: np.ndarray) -> Path:
    names = list(columns)
    lines = [";".join(names)]
    lines += [";".join(str(columns[n][i]) for n in names) for i in range(len(columns[names[0]]))]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def keys(path: Path, **columns: np.ndarray) -> list[str]:
    return list(read_log(write(path, **{"t [s]": T}, **columns)).frame.columns)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


def test_what_has_no_place_is_the_bus_beside_packs_and_the_pack_without(log: Path) -> None:
    assert keys(log, Voltage=PACK, Current=AMPS, Capacity=MAH) == [
        "pack 1/voltage", "pack 1/current", "pack 1/consumed",
    ]  # fmt: skip
    packs = {"Pack 1 V": PACK, "Pack 2 V": PACK, "Pack 1 A": AMPS, "Pack 2 A": AMPS}
    assert keys(log, **packs, Voltage=BUS, Current=2 * AMPS, Capacity=MAH)[4:] == [
        "bus/voltage", "bus/current", "bus/consumed",
    ]  # fmt: skip


def test_numbers_without_a_part(log: Path) -> None:
    assert keys(log, U1=PACK, U2=PACK, I1=AMPS, I2=AMPS) == [
        "pack 1/voltage", "pack 2/voltage", "pack 1/current", "pack 2/current",
    ]  # fmt: skip
    assert keys(log, U1=CELL, U2=CELL, U3=CELL) == [f"pack 1/cell-voltage/{i}" for i in (1, 2, 3)]
    assert keys(log, U1=BUS, U2=BUS, U3=BUS) == [f"channel {i}/voltage" for i in (1, 2, 3)]


def test_a_receivers_battery_is_a_pack_unless_packs_have_their_own_columns(log: Path) -> None:
    assert keys(log, **{"Receiver battery": BUS}) == ["pack 1/voltage"]
    found = keys(log, **{"Receiver battery": BUS, "Pack 1 V": PACK, "Pack 2 V": PACK})
    assert found[0] == "receiver/voltage"


def test_two_nodes_in_one_wing_keep_their_numbers(log: Path) -> None:
    found = keys(log, **{"Left wing node 1 A": AMPS, "Left wing node 2 A": AMPS})
    assert found == ["left wing node 1/current", "left wing node 2/current"]
    assert keys(log, **{"Left wing node 1 A": AMPS}) == ["left wing/current"]


def test_copies_are_numbered_and_said(log: Path) -> None:
    write(log, **{"t [s]": T, "Tail current A": AMPS, "Leitwerk Strom": AMPS})
    read = read_log(log)
    assert list(read.frame.columns) == ["tail/current", "tail/current/2"]
    assert any("2 columns are read as tail/current" in n for n in read.provenance.notes)


def test_german_stick_names_among_controls(log: Path) -> None:
    stick = np.round(60 * np.sin(T))
    assert keys(log, Quer=stick, Höhe=stick, Seite=stick) == [
        "aileron/control", "elevator/control", "rudder/control",
    ]  # fmt: skip
    assert keys(log, Höhe=np.round(T * 3)) == ["altitude"]
    assert keys(log, **{"Höhe [m]": stick, "Quer": stick})[0] == "altitude"


def test_a_mean_counts_as_the_reading_only_where_there_is_no_other(log: Path) -> None:
    assert keys(log, **{"Bus current mean A": AMPS}) == ["bus/current"]
    assert keys(log, **{"Bus current A": AMPS, "Bus current mean A": AMPS}) == [
        "bus/current", "bus/current/mean",
    ]  # fmt: skip


def test_a_counter_without_a_unit_is_settled_by_the_current(log: Path) -> None:
    write(log, **{"t [s]": T, "Pack 1 A": AMPS, "Pack 1 used": np.round(MAH / 1000, 4)})
    read = read_log(log)
    np.testing.assert_allclose(read.values("pack 1/consumed"), MAH, atol=0.06)
    channel = read.channels[2]
    assert channel.source_unit == "Ah"
    assert "grows with the current" in channel.reason


def test_a_link_loss_printed_as_zeros_is_no_restart(log: Path) -> None:
    volts, used = BUS.copy(), MAH.copy()
    volts[40:45] = used[40:45] = 0.0
    write(log, **{"t [s]": T, "Pack 1 V": volts, "Pack 1 mAh": used, "Bus V": volts})
    read = read_log(log)
    assert np.isnan(read.values("pack 1/voltage")[40:45]).all()
    assert np.isnan(read.values("pack 1/consumed")[40:45]).all()
    # Another place's zeros stay: nothing says that its unit was not heard.
    assert (read.values("bus/voltage")[40:45] == 0).all()
    assert any("goes on from where it was" in n for n in read.provenance.notes)

    used[40:] -= MAH[45]
    used = np.maximum(used, 0.0)
    write(log, **{"t [s]": T, "Pack 1 V": volts, "Pack 1 mAh": used})
    assert (read_log(log).values("pack 1/consumed")[40:45] == 0).all()


def test_a_column_set_as_time_that_is_none(log: Path) -> None:
    words = np.array(["stir", "rest"] * 50)
    write(log, **{"t [s]": T, "Mode": words, "Pack 1 V": PACK})
    with pytest.raises(UnreadableLog, match="column 'Mode': this column is set as the time, but"):
        read_log(log, settings={"Mode": "time"})


def test_readings_that_fit_alike_are_put_to_the_user(log: Path) -> None:
    write(log, **{"t [s]": T, "A7": BUS, "Pack 1 V": PACK})
    read = read_log(log)
    channel = read.channels[1]
    assert (channel.quantity, channel.key) == ("unknown", "A7")
    assert set(channel.rivals) == {"a7/current[A]", "a7/voltage[V]"}
    np.testing.assert_array_equal(read.values("A7"), BUS)

    listing = describe_columns(log)
    report = listing.columns[1]
    assert report.open
    assert [r.set_line for r in report.rivals] == [
        "--set 'A7=a7/current[A]'",
        "--set 'A7=a7/voltage[V]'",
    ]
    assert (report.low, report.high) == (BUS.min(), BUS.max())
    assert report.rivals[0].high == BUS.max()
    assert 1 < len(report.samples) <= 5
    assert all(float(s) in BUS for s in report.samples)

    settled = read_log(log, settings={"A7": "receiver 1/voltage[V]"})
    np.testing.assert_array_equal(settled.values("receiver 1/voltage"), BUS)
    assert "as you set it" in settled.channels[1].reason


def test_a_listing_shows_every_column_with_reading_reason_and_score(log: Path) -> None:
    remark = np.array(["a", "b"] * 50)
    write(log, **{"t [s]": T, "Pack 1 (mV)": PACK * 1000, "Dings": AMPS, "Remark": remark})
    listing = describe_columns(log)
    assert listing.problem == ""
    assert "seconds in column 't [s]'" in listing.time_form
    time, pack, thing, words = listing.columns
    assert (time.number, time.reading) == (1, "time")
    assert pack.reading == "pack 1/voltage[mV]"
    assert pack.set_line == "--set 'Pack 1 (mV)=pack 1/voltage[mV]'"
    assert pack.channel.reason
    assert pack.channel.score > 0.8
    assert pack.filled == 100
    assert thing.reading == ""
    assert thing.set_line == "--set 'Dings=PLACE/voltage[V]'"
    assert thing.repeats == pytest.approx(np.mean(np.diff(AMPS) == 0))
    assert words.samples == ("a", "b")
    assert math.isnan(words.low)


def test_a_listing_helps_where_the_log_cannot_be_read_yet(log: Path) -> None:
    write(log, **{"Pack 1 V": PACK, "Pack 1 A": AMPS})
    with pytest.raises(UnreadableLog):
        read_log(log)
    listing = describe_columns(log)
    assert "no time column found" in listing.problem
    assert [c.reading for c in listing.columns] == ["pack 1/voltage[V]", "pack 1/current[A]"]


def test_unknown_columns_are_kept_and_ignored_ones_are_not(log: Path) -> None:
    write(log, **{"t [s]": T, "Dings": AMPS, "Pack 1 V": PACK})
    assert "Dings" in read_log(log).frame
    read = read_log(log, settings={"Dings": "ignore"})
    assert "Dings" not in read.frame
    assert [c.column for c in read.channels] == ["t [s]", "Dings", "Pack 1 V"]


def test_settings_that_match_no_column_are_an_error(log: Path) -> None:
    write(log, **{"t [s]": T, "Pack 1 V": PACK})
    with pytest.raises(UnknownSetting, match="the log has no column 'Pack 2 V'"):
        read_log(log, settings={"Pack 2 V": "pack 2/voltage[V]"})


def test_decisions_are_kept_as_a_map_and_used_for_the_same_header(log: Path) -> None:
    write(log, **{"t [s]": T, "A7": BUS, "A9": AMPS, "Pack 1 V": PACK})
    listing = describe_columns(log, settings={"A7": "bus/voltage[V]", "#3": "bus/current[A]"})
    saved = log.with_suffix(".toml")
    save_column_map(listing.column_map("tern"), saved)
    loaded = load_column_map(saved)
    assert loaded.readings == {
        "A7": "bus/voltage[V]", "A9": "bus/current[A]", "Pack 1 V": "pack 1/voltage[V]",
    }  # fmt: skip
    read = read_log(log, column_maps=[loaded])
    assert list(read.frame.columns) == ["bus/voltage", "bus/current", "pack 1/voltage"]
    assert "columns are read by the saved column map 'tern'" in read.provenance.notes
    assert read.provenance.header == loaded.fingerprint

    again = read_log(log, settings={"A7": "receiver 1/voltage[V]"}, column_maps=[loaded])
    assert next(iter(again.frame.columns)) == "receiver 1/voltage"

    other = write(log.with_name("other.csv"), **{"t [s]": T, "A7": BUS, "B2": AMPS})
    assert "A7" in read_log(other, column_maps=[loaded]).frame


def test_a_map_survives_names_of_any_letters(tmp_path: Path) -> None:
    name = 'Fläche "links" \\ [A] \t= \x7f'
    kept = ColumnMap(name="tern", fingerprint="ab" * 16, readings={name: "left wing/current[A]"})
    save_column_map(kept, tmp_path / "map.toml")
    assert load_column_map(tmp_path / "map.toml") == kept


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("= nonsense", "is no column map"),
        ("[columns]\nA = 'x/voltage'\n", "'fingerprint' or \\[columns\\] is missing"),
        ("fingerprint = 'a'\n[columns]\nA = 1\n", "column 'A': a reading must be text"),
        ("fingerprint = 'a'\n[columns]\nA = 'x/y'\n", "names no known quantity"),
    ],
)
def test_a_broken_map_is_refused(tmp_path: Path, text: str, sentence: str) -> None:
    path = tmp_path / "map.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnknownSetting, match=sentence):
        load_column_map(path)
    with pytest.raises(UnknownSetting, match="cannot be read"):
        load_column_map(tmp_path / "none.toml")


def test_a_map_that_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    kept = ColumnMap(name="a", fingerprint="b")
    with pytest.raises(OutputError, match="the column map cannot be written"):
        save_column_map(kept, tmp_path / "no folder" / "map.toml")
    assert list(tmp_path.iterdir()) == []


def test_the_dialect_can_be_forced(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("t [s];U [V]\n0;8,123\n1;8,124\n2;8,125\n", encoding="utf-8")
    assert read_log(path).values("pack 1/voltage")[0] == 8.123
    forced = read_log(path, settings={"@decimal": "."})
    assert forced.values("pack 1/voltage")[0] == 8.123  # 8123 V are read as mV, and said so
    assert forced.channels[1].source_unit == "mV"
    assert read_log(path, settings={"@separator": ";"}).provenance.separator == ";"


def test_a_height_beside_an_elevator_is_a_height(log: Path) -> None:
    stick = np.round(60 * np.sin(T))
    assert keys(log, Höhenruder=stick, Querruder=stick, Höhe=np.round(T)) == [
        "elevator/control", "aileron/control", "altitude",
    ]  # fmt: skip


def test_single_small_letters_are_no_units_by_themselves(log: Path) -> None:
    assert keys(log, a=AMPS, b=AMPS, c=PACK) == ["a", "b", "c"]
    assert keys(log, v=PACK, a=AMPS) == ["pack 1/voltage", "pack 1/current"]
    assert keys(log, V=PACK, A=AMPS) == ["pack 1/voltage", "pack 1/current"]


def test_batteries_for_different_things_are_no_copies(log: Path) -> None:
    found = keys(log, **{"Ignition battery V": BUS, "Battery V": PACK, "ECU battery V": PACK})
    assert found == ["ignition pack/voltage", "pack 1/voltage", "ecu pack/voltage"]


@pytest.mark.parametrize("wild", [1e9, -1e9, 1e300, 0.5, 70000.5])
def test_one_wild_cell_turns_no_reading(wild: float, log: Path) -> None:
    """Neither unit nor sign nor kind of a column, and it is not the end of its range."""
    plain = {
        "t [s]": T,
        "Pack 1 voltage": np.round(100 * PACK),
        "Pack 1 current": -AMPS,
        "Pack 2 current": np.round(1000 * AMPS),
        "Pack 2 consumed": MAH / 1000,
        "Aileron stick": np.round(1500 + 400 * np.sin(T)),
    }
    channels = read_log(write(log, **plain)).channels
    ranges = {c.title: (c.low, c.high) for c in describe_columns(log).columns}
    for name in list(plain)[1:]:
        spoilt = plain[name].copy()
        spoilt[40] = wild
        found = read_log(write(log, **(plain | {name: spoilt}))).channels
        assert [(c.key, c.source_unit, c.factor) for c in found] == [
            (c.key, c.source_unit, c.factor) for c in channels
        ], name
        if abs(wild) >= 1e9:
            assert {c.title: (c.low, c.high) for c in describe_columns(log).columns} == ranges


def test_a_number_without_end_is_named(log: Path) -> None:
    amps = [f"{a:.3f}" for a in AMPS]
    amps[40] = "1e999"
    notes = read_log(write(log, **{"t [s]": T, "Pack 1 A": np.array(amps)})).provenance.notes
    assert any("'Pack 1 A'" in note for note in notes)
