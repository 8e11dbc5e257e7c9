"""Where the table is: preamble, header rows, first row of data."""

from __future__ import annotations

from pathlib import Path

import pytest

from telemetry.importer import read_log
from telemetry.importer.heads import preamble_of
from telemetry.importer.text.layout import TableLayout, find_layout
from telemetry.model.errors import UnreadableLog

ROOT = Path(__file__).parents[2]


def layout(text: str, separator: str = ";") -> TableLayout:
    found = find_layout(text.splitlines(), (), separator)
    assert found is not None
    return found


ROWS = "0,1;8,2;1,5\n0,2;8,1;1,6\n0,3;8,0;1,7\n"


def test_header_and_data() -> None:
    found = layout("Zeit;U;I\n" + ROWS)
    assert (found.names, found.units, found.header_line, found.data_line) == (
        ("Zeit", "U", "I"), (), 1, 1,
    )  # fmt: skip
    assert found.numeric == (True, True, True)


def test_preamble_lines_are_told_from_the_header() -> None:
    text = "Model: invented tern\nSerial: 12\n\n# remark\nZeit;U;I\n"
    found = layout(text + ROWS)
    assert found.header_line == 5
    assert found.preamble == (("Model", "invented tern"), ("Serial", "12"), ("", "remark"))


def test_preamble_lines_padded_to_the_table_are_no_header() -> None:
    text = "Model;Tern;;;;\nSerial;12;;;;\nZeit;U;I;T;P;R\n"
    rows = "0,1;8,2;1,5;20;3;4\n0,2;8,1;1,6;20;3;4\n0,3;8,1;1,6;20;3;4\n"
    found = layout(text + rows)
    assert found.names == ("Zeit", "U", "I", "T", "P", "R")
    assert found.sensors == ()
    assert ("Model", "Tern") in found.preamble


def test_sensor_name_and_unit_rows() -> None:
    text = ";Pack 1;;Left wing;\nTime;U;I;U;I\ns;V;A;mV;mA\n"
    found = layout(text + "0,1;8,2;1,5;8100;200\n0,2;8,2;1,5;8100;200\n0,3;8,2;1,5;8100;200\n")
    assert found.sensors == ("", "Pack 1", "Pack 1", "Left wing", "Left wing")
    assert found.names == ("Time", "U", "I", "U", "I")
    assert found.units == ("s", "V", "A", "mV", "mA")
    assert found.header_line == 2


def test_no_header() -> None:
    found = layout(ROWS)
    assert (found.names, found.header_line, found.data_line) == ((), None, 0)


def test_a_header_of_numbers_with_units_is_a_header() -> None:
    found = layout("Time;1 V;1 A\n" + ROWS)
    assert found.names == ("Time", "1 V", "1 A")


def test_a_name_of_its_own_may_be_a_comment_mark() -> None:
    found = layout("#;U;I\n1;8,2;1,5\n2;8,1;1,6\n3;8,0;1,7\n")
    assert found.names == ("#", "U", "I")


def test_words_among_the_values_do_not_make_a_header() -> None:
    found = layout("Zeit;U;Mode\n0,1;8,2;rest\n0,2;ERR;rest\n0,3;8,0;stir\n0,4;8,0;stir\n")
    assert found.names == ("Zeit", "U", "Mode")
    assert found.numeric == (True, True, False)


def test_one_row_of_data_is_enough() -> None:
    found = layout("Zeit;U;I\n0,1;8,2;1,5\n")
    assert (found.names, found.data_line) == (("Zeit", "U", "I"), 1)


def test_no_table_without_a_number() -> None:
    assert find_layout(["a;b", "c;d"], (), ";") is None


def test_a_preamble_longer_than_the_table() -> None:
    preamble = "".join(f"Setting {i};{i * 1.5}\n" for i in range(60))
    found = layout(preamble + "Zeit;U;I;T\n" + "0,1;8,2;1,5;20\n" * 20)
    assert found.names == ("Zeit", "U", "I", "T")
    assert found.header_line == 61
    assert found.preamble[0] == ("Setting 0", "0.0")


def test_rows_of_two_layouts_without_names_are_refused_in_a_sentence(tmp_path: Path) -> None:
    """Torn rows of two logs in one file: neither block has a header."""
    path = tmp_path / "torn.csv"
    path.write_text(
        "510|-|-|-|-|-|-|-|-|-|8,30|-|-|8,31|-|8,27|-|93|0|1,5|-1,5|0,5|-100,0|\n"
        "247.6,7.7,0.6,68,7.7,0.7,83,7.7,1.3,28,7.7,0.2,7.7,0.4,7.7,0.2,7.7,0.1,7.7,0.2\n"
        "242.2,7.7,0.7,67,7.7,0.7,82,7.7,1.1,28,7.7,0.1,7.7,0.2,7.7,0.3,7.7,0.2,7.7,0.2\n"
        "998|8,34|1,15|0|8,33|1|19|-|-|-|8,30|0,23|-|8,31|0,27|8,27|0,15|92|0|1,5|-1,5|0,5|-100,0|\n"
        "248.9,7.7,0.9,68,7.7,1,84,7.7,1.6,28,7.7,0.4,7.7,0.5,7.7,0.3,7.7,0.2,7.7,0.1\n"
    )
    with pytest.raises(UnreadableLog, match="no time column found"):
        read_log(path)


def test_what_stands_above_a_log_whose_header_changes_is_told(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    changes = ROOT / "tests" / "data" / "good" / "header_changes.csv"
    log.write_text("Model: Invented tern\n" + changes.read_text(encoding="utf-8"), encoding="utf-8")
    assert preamble_of(log) == (("Model", "Invented tern"),)
    assert preamble_of(changes) == ()


@pytest.mark.parametrize("settings", [0, 1_500])
def test_what_stands_above_a_log_is_told_however_much_it_is(tmp_path: Path, settings: int) -> None:
    log = tmp_path / "log.csv"
    told = "".join(f"Setting {i}: on\n" for i in range(settings))
    rows = "".join(f"{i / 10};8.2;1.5\n" for i in range(9_000))
    log.write_text(f"Model: Invented tern\n{told}Time (s);U (V);I (A)\n{rows}", encoding="utf-8")
    above = preamble_of(log)
    assert above[0] == ("Model", "Invented tern")
    assert len(above) == 1 + settings


def test_a_stray_cell_behind_the_last_name_shifts_no_name(tmp_path: Path) -> None:
    """Header and rows end with a separator: what strays behind it is no column without a name."""
    names = "Time [s];Bus voltage [V];Aileron [%];Elevator [%];Rudder [%]"
    rows = [f"{i};8.{i % 3};{i % 7};{i % 5};{-i % 9};" for i in range(200)]
    rows[120] += "-1e-9"
    log = tmp_path / "log.csv"
    log.write_text("\n".join([names + ";", *rows]) + "\n")
    read = read_log(log)
    assert [c.place for c in read.channels[2:5]] == ["aileron", "elevator", "rudder"]
    assert not read.provenance.notes
    log.write_text("\n".join([names, *(f"{row}{row[-2]}" for row in rows)]) + "\n")
    assert "5 names over 6 columns" in read_log(log).provenance.notes[0]
