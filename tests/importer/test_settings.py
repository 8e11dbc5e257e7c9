"""What the user settles, and the sentences for what is not understood."""

from __future__ import annotations

import pytest

from telemetry.importer.names.settings import file_settings, find_column, parse_setting, text_of
from telemetry.model.errors import UnknownSetting


@pytest.mark.parametrize(
    ("text", "quantity", "place", "unit"),
    [
        ("pack 1/voltage[mV]", "voltage", "pack 1", "mV"),
        ("Pack 1/Voltage[V]", "voltage", "pack 1", "V"),
        ("left wing/current", "current", "left wing", None),
        ("voltage[V]", "voltage", None, "V"),
        ("/altitude[m]", "altitude", None, "m"),
        ("aileron/control[%]", "control", "aileron", "%"),
        ("status", "status", None, None),
        ("unknown", "unknown", None, None),
    ],
)
def test_settings(text: str, quantity: str, place: str | None, unit: str | None) -> None:
    setting = parse_setting(text)
    assert (setting.quantity, setting.place) == (quantity, place)
    assert (setting.unit.symbol if setting.unit else None) == unit


def test_holds_cells_times_and_ignore() -> None:
    assert parse_setting("bus/voltage/min[V]").hold == "min"
    assert parse_setting("pack 1/cell-voltage/3[mV]").cell == 3
    for text in ("time[ms]", "/time[ms]", "time [ms]"):
        assert parse_setting(text).time_form == "ms"
    assert parse_setting("time").time_form == ""
    assert parse_setting("ignore").ignore


def test_a_reading_is_printed_as_it_is_parsed() -> None:
    for text in ("bus/voltage/min[V]", "pack 1/cell-voltage/3[mV]", "altitude[m]", "time[dmy]"):
        s = parse_setting(text)
        unit = s.time_form or (s.unit.symbol if s.unit else "")
        assert text_of(s.quantity, s.place, unit, s.hold, s.cell) == text


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("pack 1/voltag[V]", "names no known quantity; did you mean 'voltage'?"),
        ("pack 1/voltage[Vx]", "the unit 'Vx' in 'pack 1/voltage[Vx]' is not known"),
        ("pack 1/voltage[A]", "voltage cannot be in A; give the unit the file uses for it."),
        ("bus/voltage/often[V]", "'often' behind the quantity in 'bus/voltage/often[V]'"),
        ("time[yesterday]", "the time format 'yesterday' is not known; time formats are s, ms"),
        ("a[b]c", "is not of the form place/quantity[unit]"),
    ],
)
def test_what_is_not_understood_is_said(text: str, sentence: str) -> None:
    with pytest.raises(UnknownSetting) as caught:
        parse_setting(text, "U1")
    assert str(caught.value).startswith("column 'U1': ")
    assert sentence in str(caught.value)


def test_columns_are_found_by_title_header_and_number() -> None:
    titles = ["Time", "Extra", "Extra#2", "column 4"]
    names = ["Time ", "Extra", "Extra", ""]
    assert find_column("Extra#2", titles, names) == 2
    assert find_column("Time ", titles, names) == 0
    assert find_column("time", titles, names) == 0
    assert find_column("#4", titles, names) == 3
    assert find_column("column 4", titles, names) == 3
    with pytest.raises(UnknownSetting, match="has no column 'Tim'; did you mean 'Time'"):
        find_column("Tim", titles, names)
    with pytest.raises(UnknownSetting, match="'#1' to '#4' work too"):
        find_column("#9", titles, names)


def test_file_settings() -> None:
    found = file_settings({"@separator": "tab", "@decimal": ",", "U": "pack 1/voltage[V]"})
    assert found == {"@separator": "\t", "@decimal": ","}
    with pytest.raises(UnknownSetting, match="the setting '@quote' is not known"):
        file_settings({"@quote": "x"})
    with pytest.raises(UnknownSetting, match="the separator 'x' is not known"):
        file_settings({"@separator": "x"})
    with pytest.raises(UnknownSetting, match="the decimal mark 'x' is not known"):
        file_settings({"@decimal": "x"})
