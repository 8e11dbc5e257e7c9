"""One small file for each thing that logs in the wild do; good ones read right, bad ones refused.

All files are invented. Expected values are those the files were written from: six rows, a pack
at 8.2 V and a wing panel that draws one to three amperes.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from telemetry import UnreadableLog, read_log
from telemetry.model.channels import Quantity

DATA = Path(__file__).parents[1] / "data"
VOLTS = [8.21, 8.20, 8.18, 8.19, 8.20, 8.21]
AMPS = [1.25, 1.50, 2.75, 2.25, 1.00, 1.25]
TIMES = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5]
PACK, WING = "pack 1/voltage", "left wing/current"
nan = np.nan

# Files that hold the same six rows, however they are written.
SAME = [
    "blank_lines", "bom_utf8", "byte_order_mark_at_join", "comments_between",
    "decimal_comma_quoted", "empty_trailing_columns", "header_behind_comment",
    "header_changes_order", "header_descriptions_below", "header_many_line_ends",
    "header_on_every_page", "header_one_name_long", "header_remark_behind",
    "header_separators_behind", "header_stray_quote", "line_end_cr", "line_end_crlf",
    "line_end_doubled", "long", "long_no_header", "long_no_sensor", "mixed_decimals",
    "no_final_line_end", "preamble", "preamble_comments", "preamble_padded", "preamble_table",
    "quoted_line_end_in_header", "quotes_around_lines", "quotes_behind_blanks", "quotes_doubled",
    "quotes_single", "quotes_stray", "row_too_long_blank", "rows_newest_first",
    "separator_comma",
    "separator_comma_blank_decimal_comma", "separator_declared", "separator_pipe",
    "separator_semicolon_decimal_comma", "separator_tab", "shift_jis", "thousands_apostrophe",
    "thousands_blank", "thousands_comma", "thousands_dot", "thousands_no_break_space",
    "trailer", "trailer_totals", "trailing_separator_rows_only", "unit_row", "units_in_cells",
    "utf16_be", "utf16_le", "utf16_no_mark", "value_scaled_unit", "value_volts_are_millivolts",
    "shift_jis", "windows_1250", "windows_1250_hungarian", "windows_1250_polish",
    "windows_1252", "windows_1252_danish", "zero_padding",
]  # fmt: skip


@pytest.mark.parametrize("name", SAME)
def test_the_same_six_rows_however_written(name: str) -> None:
    log = read_log(DATA / "good" / f"{name}.csv")
    np.testing.assert_array_equal(log.values(PACK), VOLTS)
    np.testing.assert_array_equal(log.values(WING), AMPS)
    np.testing.assert_allclose(log.time_s, TIMES, atol=1e-9)
    assert log.provenance.rows_refused == 0
    assert log.channels[0].quantity == "time"


@pytest.mark.parametrize("name", ["separator_spaces.txt", "separator_wide_gaps.txt"])
def test_runs_of_blanks_separate(name: str) -> None:
    log = read_log(DATA / "good" / name)
    np.testing.assert_array_equal(log.values(PACK), VOLTS)
    np.testing.assert_array_equal(log.values(WING), AMPS)


@pytest.mark.parametrize(
    ("name", "encoding", "separator", "decimal", "header_line"),
    [
        ("bom_utf8", "utf-8", ";", ",", 1),
        ("utf16_le", "utf-16-le", "\t", ",", 1),
        ("utf16_be", "utf-16-be", "\t", ",", 1),
        ("utf16_no_mark", "utf-16-le", "\t", ",", 1),
        ("windows_1252", "cp1252", ";", ",", 1),
        ("windows_1250", "cp1250", ";", ",", 1),
        ("windows_1250_polish", "cp1250", ";", ".", 1),
        ("windows_1250_hungarian", "cp1250", ";", ".", 1),
        ("windows_1252_danish", "cp1252", ";", ".", 1),
        ("shift_jis", "cp932", ";", ".", 1),
        ("separator_declared", "utf-8", ";", ",", 2),
        ("separator_pipe", "utf-8", "|", ".", 1),
        ("preamble", "utf-8", ";", ",", 6),
        ("decimal_comma_quoted", "utf-8", ",", ",", 1),
        ("no_header", "utf-8", ",", ".", None),
        ("header_behind_comment", "utf-8", ",", ".", 2),
    ],
)
def test_the_dialect_is_in_the_provenance(
    name: str, encoding: str, separator: str, decimal: str, header_line: int | None
) -> None:
    p = read_log(DATA / "good" / f"{name}.csv").provenance
    assert (p.encoding, p.separator, p.decimal, p.header_line) == (
        encoding,
        separator,
        decimal,
        header_line,
    )


@pytest.mark.parametrize(
    ("name", "lines", "note"),
    [
        ("row_too_long", (4,), "1 row could not be kept, first at line 4 (5 cells instead of 3)"),
        ("row_merged", (4,), "1 row could not be kept, first at line 4 (5 cells instead of 3)"),
        ("row_garbage", (4,), "1 row could not be kept, first at line 4 (zero bytes)"),
        ("cut_off_in_time", (8,), "the last line is cut off before its first value"),
        ("row_too_short", (), "1 row has too few cells"),
        ("cut_off_in_value", (), "the last line (7) is cut off in mid-value; its value '1.'"),
        ("cut_off_in_middle", (), "the last line (8) is cut off in mid-value; its value '8.'"),
        ("value_garbage", (), "1 of 6 values in column 'Pack 1 voltage [V]' is no number and was "
                              "lost, first at line 4 ('ERR')"),
        ("trailer", (), "2 lines behind the last row are no data (from line 8)"),
        ("trailer_totals", (), "1 line behind the last row is no data (from line 8)"),
        ("comments_between", (), "first at line 5"),
        ("zero_padding", (), "512 bytes of padding behind the text left out"),
        ("empty_trailing_columns", (), "3 columns without a name and without a value were left"),
    ],
)  # fmt: skip
def test_nothing_is_lost_in_silence(name: str, lines: tuple[int, ...], note: str) -> None:
    p = read_log(DATA / "good" / f"{name}.csv").provenance
    assert p.refused_lines == lines
    assert p.rows_refused == len(lines)
    assert any(note in n for n in p.notes), p.notes


def test_rows_too_short_and_cut_off_lose_only_what_is_missing() -> None:
    short = read_log(DATA / "good" / "row_too_short.csv")
    np.testing.assert_array_equal(short.values(WING), [1.25, 1.5, nan, 2.25, 1.0, 1.25])
    cut = read_log(DATA / "good" / "cut_off_in_value.csv")
    np.testing.assert_array_equal(cut.values(WING), [1.25, 1.5, 2.75, 2.25, 1.0, nan])
    middle = read_log(DATA / "good" / "cut_off_in_middle.csv")
    np.testing.assert_array_equal(middle.values(PACK), [*VOLTS, nan])


def test_signs_for_no_value() -> None:
    log = read_log(DATA / "good" / "no_value_signs.csv")
    np.testing.assert_array_equal(log.values(PACK), [8.21, nan, nan, nan, nan, 8.21])
    np.testing.assert_array_equal(log.values(WING), [1.25, nan, nan, nan, nan, 1.25])
    assert not log.provenance.notes


def test_a_typographic_minus_is_a_minus() -> None:
    log = read_log(DATA / "good" / "minus_sign.csv")
    np.testing.assert_array_equal(log.values("regulator/temperature"), np.negative(VOLTS))


def test_columns_without_header_and_double_names_are_addressable() -> None:
    log = read_log(
        DATA / "good" / "no_header.csv",
        settings={"#2": "pack 1/voltage[V]", "column 3": "left wing/current[A]"},
    )
    np.testing.assert_array_equal(log.values(PACK), VOLTS)
    np.testing.assert_array_equal(log.values(WING), AMPS)
    double = read_log(
        DATA / "good" / "duplicate_names.csv",
        settings={"Extra#2": "node 2/current[A]", "#5": "ignore"},
    )
    assert list(double.frame.columns) == [PACK, "Extra", "node 2/current"]
    np.testing.assert_array_equal(double.values("node 2/current"), [2.0] * 6)


def test_a_name_that_is_missing_is_missing_where_the_values_say() -> None:
    log = read_log(DATA / "good" / "header_one_name_short.csv")
    np.testing.assert_array_equal(log.values(WING), AMPS)
    np.testing.assert_array_equal(log.values("column 2"), VOLTS)
    assert any("by the values, column 2 without a name" in n for n in log.provenance.notes)


def test_columns_go_on_by_name_where_the_header_changes() -> None:
    log = read_log(DATA / "good" / "header_changes.csv")
    np.testing.assert_array_equal(log.values(PACK), VOLTS)
    np.testing.assert_array_equal(log.values(WING), AMPS)
    np.testing.assert_array_equal(log.values("pack 1/temperature"), [nan] * 3 + [21.0] * 3)
    assert len(log.provenance.recordings) == 1
    assert any("another header stands at line 5" in n for n in log.provenance.notes)


def test_one_name_over_several_values_is_asked_for() -> None:
    log = read_log(DATA / "good" / "duplicate_names_other_values.csv")
    assert [c.quantity for c in log.channels[1:]] == [Quantity.UNKNOWN] * 2
    assert "2 columns are named 'Voltage [V]' and hold other values" in log.channels[1].reason
    assert [c.source_unit for c in log.channels[1:]] == ["V", "V"]


def test_a_column_without_a_name_is_kept() -> None:
    log = read_log(DATA / "good" / "header_short.csv")
    np.testing.assert_array_equal(log.values("column 3"), AMPS)


def test_sensor_row_name_row_unit_row() -> None:
    log = read_log(DATA / "good" / "sensor_row_unit_row.csv")
    assert list(log.frame.columns) == [
        "pack 1/voltage",
        "pack 1/current",
        "left wing/voltage",
        "left wing/current",
    ]
    np.testing.assert_array_equal(log.values("left wing/voltage"), VOLTS)


def test_one_sensor_a_row_with_blanks_elsewhere() -> None:
    log = read_log(DATA / "good" / "one_sensor_a_row.csv")
    np.testing.assert_array_equal(log.values(PACK)[::2], VOLTS)
    assert np.isnan(log.values(PACK)[1::2]).all()
    np.testing.assert_array_equal(log.values(WING)[1::2], AMPS)


def test_two_receivers_copies_of_one_value() -> None:
    log = read_log(DATA / "good" / "two_receivers.csv")
    np.testing.assert_array_equal(log.values("pack 1/voltage"), VOLTS)
    np.testing.assert_allclose(log.values("pack 1/voltage/2"), np.add(VOLTS, 0.02))
    assert log.channel(Quantity.LINK, "receiver 2") is not None


def test_words_go_to_the_text_table() -> None:
    log = read_log(DATA / "good" / "words.csv")
    assert list(log.text["Mode"]) == ["stir"] * 3 + ["rest"] * 3
    assert list(log.frame.columns) == [PACK]


@pytest.mark.parametrize(
    ("name", "recordings", "note"),
    [
        ("header_repeated", ((0.0, 0.5), (10.5, 11.0)), "the clock starts again"),
        ("header_repeated_with_preamble", ((0.0, 0.5), (10.5, 11.0)), "the clock starts again"),
        ("time_runs_back", ((0.0, 0.4), (10.4, 10.8)), "the clock starts again"),
    ],
)
def test_several_recordings_in_one_file(name: str, recordings: tuple, note: str) -> None:
    log = read_log(DATA / "good" / f"{name}.csv")
    np.testing.assert_allclose(log.provenance.recordings, recordings, atol=1e-9)
    assert any("2 recordings" in n and note in n for n in log.provenance.notes)
    assert log.frame.index.is_monotonic_increasing


@pytest.mark.parametrize("name", ["header_on_every_page", "header_repeated_clock_runs_on"])
def test_a_header_on_every_page_of_a_clock_that_runs_on_is_one_recording(name: str) -> None:
    p = read_log(DATA / "good" / f"{name}.csv").provenance
    assert len(p.recordings) == 1
    assert not any("recording" in n for n in p.notes)


def test_a_recording_that_is_laid_behind_says_so() -> None:
    notes = read_log(DATA / "good" / "time_runs_back.csv").provenance.notes
    assert (
        "1 recording is laid behind the one before, at a distance of 10 s that is not in the file"
    ) in notes


# Time in all its forms: name, seconds of the first rows, start, a piece of the form.
TIME_FORMS = [
    ("milliseconds", [0, 0.1, 0.2], None, "milliseconds"),
    ("milliseconds_unnamed", [0, 0.1, 0.2], None, "steps of 100 speak for milliseconds"),
    ("microseconds", [0, 0.1, 0.2], None, "microseconds"),
    ("minutes", [0, 0.15, 0.3], None, "minutes"),
    ("clock", [0, 0.1, 0.2], None, "hh:mm:ss.fff"),
    ("clock_colon_ms", [0, 0.1, 0.2], None, "hh:mm:ss.fff"),
    ("minutes_seconds", [0, 0.1, 0.2], None, "mm:ss.fff"),
    ("hours_minutes_named", [0, 60, 120], None, "hh:mm"),
    ("am_pm", [0, 1, 2], None, "AM/PM"),
    ("iso", [0, 0.1, 0.2], "2026-10-17T09:58:31", "date and time"),
    ("iso_zone", [0, 0.1, 0.2], "2026-10-17T09:58:31+02:00", "date and time"),
    ("iso_utc", [0, 0.1, 0.2], "2026-10-17T09:58:31+00:00", "date and time"),
    ("iso_basic", [0, 1, 2], "2026-10-17T09:58:30", "date and time"),
    ("mixed_precision", [0, 0.1, 0.25, 0.3], "2026-10-17T09:58:31", "date and time"),
    ("date_and_time", [0, 0.1, 0.2], "2026-10-17T09:58:31", "date in column 'Date'"),
    ("date_and_time_numbers", [0, 1, 2], "2026-10-17T09:58:30", "date in column 'Date'"),
    ("month_name", [0, 1, 2], "2026-10-17T09:58:30", "date and time"),
    ("day_first", [0, 1, 2], "2026-10-17T09:58:30", "date in column"),
    ("month_first", [0, 1, 2], "2026-10-17T09:58:30", "date in column"),
    ("day_moves_on", [0, 1, 2, 3], "2026-04-03T23:59:58", "date in column"),
    ("epoch_s", [0, 0.1, 0.2], "2026-10-17T09:58:31+00:00", "seconds since 1970"),
    ("epoch_ms", [0, 0.1, 0.2], "2026-10-17T09:58:31+00:00", "milliseconds since 1970"),
    ("serial_days", [0, 0.1, 0.2], "2026-10-17T09:58:31", "days of a spreadsheet"),
    ("midnight", [0, 0.1, 0.2, 0.3, 0.4], None, "hh:mm:ss"),
    ("hour_rolls", [0, 0.1, 0.2, 0.3, 0.4], None, "mm:ss"),
    ("summer_ends", [0, 1, 2, 3, 4], None, "hh:mm:ss"),
    ("16_bits", [0, 0.1, 0.2, 0.3, 0.4], None, "milliseconds"),
    ("set_back", [i / 10 for i in range(70)], None, "seconds"),
    ("out_of_order", [0, 0.1, 0.2, 0.3, 0.4, 0.5], None, "seconds"),
    ("one_wild", [0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6], None, "seconds"),
    ("coarse", [i / 4 for i in range(16)], None, "hh:mm:ss"),
    ("blank_in_between", [0, 0.1, 0.2, 0.3, 0.4], None, "seconds"),
    ("offset", [0, 0.1, 0.2], None, "seconds"),
    ("ms_beside_clock", [i / 4 for i in range(8)], None, "milliseconds in column 'ms'"),
    ("day_month_open", [0, 1, 2], None, "date in column 'Date'"),
    ("days_and_clock", [0, 0.5, 1, 1.5, 2, 2.5], None, "hh:mm:ss.fff"),
    ("from_start", [0, 0.5, 1, 1.5, 2, 2.5], None, "hh:mm:ss.fff"),
    ("three_columns", [0, 0.5, 1, 1.5, 2, 2.5], None, "columns 'Hour', 'Minute', 'Second'"),
    ("packed_clock", [0, 0.5, 1, 1.5, 2, 2.5], None, "hh:mm:ss.fff"),
    ("packed_date", [0, 0.5, 1, 1.5, 2, 2.5], None, "date in column 'Date'"),
    ("dashes", [0, 1, 2, 3, 4, 5], "2026-10-17T09:58:58", "date and time"),
    ("half_day_word", [0, 1, 2, 3, 4, 5], None, "AM/PM"),
    ("half_day_unknown", [0, 1, 2, 3, 4, 5], None, "in a word that is not known"),
    ("set_late", [i / 2 for i in range(24)], "2026-10-17T09:58:58", "date and time"),
    ("set_late_stood", [i / 2 for i in range(24)], None, "hh:mm:ss.fff"),
    ("first_and_last_wrong", [i / 2 for i in range(24)], None, "seconds"),
    ("hundredths", [i / 2 for i in range(40)], None, "the charge that flowed says so"),
]


@pytest.mark.parametrize(("name", "seconds", "start", "form"), TIME_FORMS)
def test_time_in_all_its_forms(
    name: str, seconds: list[float], start: str | None, form: str
) -> None:
    log = read_log(DATA / "good" / f"time_{name}.csv")
    np.testing.assert_allclose(log.time_s[: len(seconds)], seconds, atol=1e-6)
    assert log.provenance.start == start
    assert form in log.provenance.time_form
    assert len(log.provenance.recordings) == 1
    assert (start is None) == (log.provenance.start_source == "")


@pytest.mark.parametrize(
    ("name", "note"),
    [
        ("day_first", "dates in column 'Date' are read day before month: 17 can be no month"),
        ("month_first", "dates in column 'Date' are read month before day: 17 can be no month"),
        ("day_moves_on", "day before month: the first number moves on within the log"),
        ("day_month_open", "settle it with --set 'Date=time[dmy]' or 'Date=time[mdy]'"),
        ("midnight", "the clock starts again past midnight once; time goes on"),
        ("hour_rolls", "the clock starts again after 3,600 s once; time goes on"),
        ("summer_ends", "set back one hour (daylight saving); time goes on"),
        ("16_bits", "the clock starts again after 65.536 s once; time goes on"),
        ("set_back", "the clock was set back by less than 5 s at 1 place; time goes on"),
        ("out_of_order", "1 row stood out of order and was sorted by time"),
        ("one_wild", "1 row with an impossible time was placed between the neighbours"),
        ("coarse", "16 rows share a time stamp with others (the clock steps by 1 s)"),
        ("packed_date", "settle it with --set 'Date=time[dmy]' or 'Date=time[ymd]'"),
        ("set_late", "the clock was set at row 5 (it jumps by 46.8 years); time goes on"),
        ("set_late_stood", "the clock was set at row 5 (it jumps by 9.98 hours); time goes on"),
        ("first_and_last_wrong", "3 rows with an impossible time were placed between"),
        ("blank_in_between", "1 row without a readable time was placed between the neighbours"),
    ],
)
def test_what_was_done_to_the_time_is_said(name: str, note: str) -> None:
    notes = read_log(DATA / "good" / f"time_{name}.csv").provenance.notes
    assert any(note in n for n in notes), notes


@pytest.mark.parametrize(
    ("name", "order", "start"),
    [
        ("day_month_open", "dmy", "2026-04-03T09:58:30"),
        ("day_month_open", "mdy", "2026-03-04T09:58:30"),
        ("packed_date", "ymd", "2026-10-17T09:58:58"),
        ("packed_date", "dmy", "2017-10-26T09:58:58"),
    ],
)
@pytest.mark.parametrize("clock", [{}, {"Time": "time"}])
def test_an_open_date_is_settled_by_the_user(
    name: str, order: str, start: str, clock: dict[str, str]
) -> None:
    settings = {"Date": f"time[{order}]", **clock}
    log = read_log(DATA / "good" / f"time_{name}.csv", settings=settings)
    assert log.provenance.start == start


def test_rows_out_of_order_carry_their_values_along() -> None:
    log = read_log(DATA / "good" / "time_out_of_order.csv")
    np.testing.assert_array_equal(log.values(WING), [1.0, 1.25, 1.75, 1.5, 1.0, 1.25])


def test_no_time_column_but_a_row_interval() -> None:
    log = read_log(DATA / "good" / "time_none.csv", row_interval_s=0.25)
    np.testing.assert_array_equal(log.time_s, [0.0, 0.25, 0.5, 0.75])
    assert "as you set it" in log.provenance.time_form


@pytest.mark.parametrize(
    ("name", "start", "source"),
    [
        ("preamble", "2026-10-17T09:58:31", "preamble lines 'Date' and 'Start time'"),
        ("preamble_comments", "2026-10-17", "preamble line 'date' (the day only)"),
    ],
)
def test_the_preamble_dates_a_log(name: str, start: str, source: str) -> None:
    p = read_log(DATA / "good" / f"{name}.csv").provenance
    assert (p.start, p.start_source) == (start, source)


def test_the_preamble_is_kept() -> None:
    p = read_log(DATA / "good" / "preamble.csv").provenance
    assert p.preamble[:2] == (("Model", "Invented tern"), ("Firmware", "1.20"))


@pytest.mark.parametrize(
    ("name", "key", "values", "note"),
    [
        ("millivolts_unnamed", PACK, VOLTS, ""),
        ("volts_are_millivolts", PACK, VOLTS, "8,210 V is no voltage of a model's radio power"),
        ("current_negative", "pack 1/current", [0.5, 1.5, 2.5, 3.5, 4.5] * 4, "turned round"),
        ("current_both_ways", "pack 1/current",
         [0, 2, 2, 0, -1, -1, 0, 3, 3, 0, -2, -2, 0, 1, 0] * 2, "turned round"),
        ("current_grows", "pack 1/consumed", [3.0 * i for i in range(40)], "only grows"),
        ("sentinel_65535", PACK, [8.21, 8.2, nan, 8.19, 8.2, 8.21], "1 value of 65535"),
        ("sentinel_65535", "pack 1/temperature", [25, 25, 25, 25, nan, 25], "32767"),
        ("sentinel_scaled", PACK, [8.21, 8.2, nan, 8.19, 8.2, 8.21], "1 value of 655.35"),
        ("minus_one", PACK, [nan, 8.2, 8.18, 8.19, 8.2, 8.21], "1 value of -1"),
        ("minus_one", "regulator/temperature", [-1, 3, 3, 3, 3, 3], ""),
        ("zero_before_first", "bus/voltage", [nan, nan, 8.18, 8.19, 8.2, 8.21], "is zero for 2"),
        # A zero among readings may be a brownout: it stays for the review to judge.
        ("zero_in_flight", "bus/voltage", [8.21, 8.2, 8.18, 0.0, 8.2, 8.21], ""),
        # Exact by definition: 212 degF are 100 degC, -40 are -40; 100 ft are 30.48 m (ISO 80000-3).
        ("fahrenheit", "regulator/temperature", [100.0, 0.0, -40.0], ""),
        ("fahrenheit", "altitude", [30.48, 33.528, 36.576], ""),
    ],
)  # fmt: skip
def test_values_check_names(name: str, key: str, values: list[float], note: str) -> None:
    log = read_log(DATA / "good" / f"value_{name}.csv")
    np.testing.assert_allclose(log.values(key), values, rtol=1e-12)
    assert any(note in n for n in (*log.provenance.notes, "")), log.provenance.notes


# Every broken file and the sentence it is refused with (behind the path).
REFUSED = [
    ("empty.csv", ": the file is empty; copy it from the transmitter again."),
    ("blank_lines.csv", ": the file holds only blank lines; copy it again."),
    ("header_only.csv", ": the file has a header but no rows of data; check that the recording "
                        "was started, or copy the file again."),
    ("all_blank.csv", ": every value is blank; check that the sensors were recorded."),
    ("values_blank.csv", ": every value is blank, only the time is there; check that the sensors "
                         "were recorded."),
    ("one_column.csv", ": the file has only one column (looked for , ; | tab and blanks between "
                       "values); export the log with its time and values side by side."),
    ("no_time.csv", ": no time column found among 'Pack 1 voltage [V]', 'Left wing current [A]'; "
                    "give the seconds from row to row, for example --row-interval 0.1."),
    ("time_unit_open.csv", " column 'Time': the time column has no unit, and steps of 0.0001 may "
                           "be minutes, hours or days; settle it with --set 'Time=time[min]' or "
                           "'Time=time[h]' or 'Time=time[d]'."),
    ("zip.csv", ": is a zip archive without a log; give the log itself."),
    ("workbook.xlsx", ": is a spreadsheet workbook, not a CSV; save the sheet as CSV."),
    ("sheet.ods", ": is a spreadsheet workbook, not a CSV; save the sheet as CSV."),
    ("old_workbook.xls", ": is an old spreadsheet or office document, not a CSV; save the sheet "
                         "as CSV."),
    ("picture.png", ": is a picture (PNG), not a CSV; give the log itself."),
    ("picture.jpg", ": is a picture (JPEG), not a CSV; give the log itself."),
    ("document.pdf", ": is a PDF document, not a CSV; give the log itself."),
    ("page.html", ": is a web page, not a CSV; export the log as CSV."),
    ("track.xml", ": is an XML document, not a CSV; export the log as CSV."),
    ("log.json", ": is a JSON document, not a CSV; export the log as CSV."),
    ("binary.csv", ": holds binary data, not text; export the log as CSV."),
    ("zeros.csv", ": holds only zero bytes; copy it from the transmitter again."),
    ("text_only.txt", ": the file holds text, but no table of values (it begins 'This is a "
                      "letter, and no log.'); give the log itself."),
    ("emptied_column.csv", " column 'Left wing current [A]': no cell of this column is a number "
                           "(the first is 'low'), though it is read as current; settle it with "
                           "--set 'Left wing current [A]=ignore' or 'Left wing current "
                           "[A]=status'."),
    ("other_header_in_middle.csv", " line 8: another header with other columns stands here; cut "
                                   "the file in two before this line."),
    ("header_changes_unit.csv", " line 5: 'Left wing current [A]' goes on here in another unit, as "
                                "'Left wing current [mA]'; cut the file in two before this line."),
    ("header_names_open.csv", " line 1: the header has 2 names over 3 columns, and the values do "
                              "not tell which name is missing; write one name over each column "
                              "into the header."),
    ("rows_longer_on_the_way.csv", " line 102: from here on the rows have 4 cells instead of 3; "
                                   "cut the file in two before this line, or put the header of the "
                                   "longer rows there."),
    ("rows_shorter_on_the_way.csv", " line 42: rows from here on have 3 cells and others 4; by the "
                                    "values, it is not the last ones that are missing; cut the "
                                    "file in two where the number of cells changes."),
    ("comma_is_both.csv", " line 2: the rows have 6 cells under fewer names: the comma seems to be "
                          "both separator and decimal mark; export the log with another separator "
                          "or with decimal points."),
]  # fmt: skip


@pytest.mark.parametrize(("name", "sentence"), REFUSED)
def test_broken_files_are_refused_in_one_clear_sentence(name: str, sentence: str) -> None:
    path = DATA / "bad" / name
    with pytest.raises(UnreadableLog) as caught:
        read_log(path)
    assert str(caught.value) == f"{path}{sentence}"


def test_every_file_of_the_museum_is_shown() -> None:
    shown = {f"{n}.csv" for n in SAME} | {f"time_{t[0]}.csv" for t in TIME_FORMS}
    source = Path(__file__).read_text(encoding="utf-8")
    for path in (DATA / "good").iterdir():
        bare = path.stem.removeprefix("value_")
        assert path.name in shown or path.stem in source or f'"{bare}"' in source, path.name
    assert {p.name for p in (DATA / "bad").iterdir()} == {name for name, _ in REFUSED}


def test_a_folder_and_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(UnreadableLog, match="is a folder, not a file; give the log files in it"):
        read_log(tmp_path)
    with pytest.raises(UnreadableLog, match="there is no such file; check the path"):
        read_log(tmp_path / "none.csv")
