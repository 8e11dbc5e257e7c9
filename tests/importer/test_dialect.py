"""Separator, decimal mark and thousands mark, found from what the cells then hold."""

from __future__ import annotations

import pytest

from telemetry.importer.text.dialect import Sample, find_separator, split_line, take_sample
from telemetry.importer.text.marks import column_marks, find_decimal


def sample(text: str) -> Sample:
    return Sample(tuple(text.splitlines()))


@pytest.mark.parametrize(
    ("text", "separator"),
    [
        ("a,b\n1.5,2\n1.6,3\n", ","),
        ("a;b\n1,5;2\n1,6;3\n", ";"),
        ("a;b\n1,5;2,5\n1,6;3,5\n1,7;3,5\n", ";"),
        ("a\tb\n1,5\t2,5\n1,6\t3,5\n", "\t"),
        ("a|b\n1|2\n3|4\n", "|"),
        ("a b\n1 2\n3 4\n", " "),
        ("Pack 1   Pack 2\n1.5      2.5\n1.6      2.6\n", "  "),
        ("time,U\n2026-10-17 09:58:31,8.2\n2026-10-17 09:58:32,8.1\n", ","),
        ("time;U\n09:58:31,5;8,2\n09:58:32,5;8,1\n", ";"),
        ('a,b\n"1,5","2,5"\n"1,6","2,6"\n', ","),
        ("a;b;c\n1 234,5;2;x\n1 235,5;3;y\n", ";"),
        ("sep=|\na|b\n1|2\n", "|"),
    ],
)
def test_separators(text: str, separator: str) -> None:
    assert find_separator(sample(text))[0] == separator


@pytest.mark.parametrize("text", ["", "abc\ndef\n", "8.2\n8.3\n", "Time [s],Pack 1 voltage [V]\n"])
def test_no_separator_where_there_is_no_table(text: str) -> None:
    assert find_separator(sample(text))[0] == ""


def test_split_line_takes_quotes_off() -> None:
    assert split_line('"a;b";"c ""d""";e', ";") == ["a;b", 'c "d"', "e"]
    assert split_line("a  b c   d", "  ") == ["a", "b c", "d"]
    assert split_line(" a  b ", " ") == ["a", "b"]


@pytest.mark.parametrize(
    ("cells", "decimal", "marks"),
    [
        (["1.5", "2.25"], "", (".", "")),
        (["1,5", "2,25"], "", (",", "")),
        # Nothing but three digits behind the mark: decimal, unless plain numbers under a
        # thousand stand beside them.
        (["8,123", "7,456"], "", (",", "")),
        (["987", "1,012", "995"], "", ("", ",")),
        (["8.123", "7.456"], "", (".", "")),
        (["8.123", "7.456"], ",", ("", ".")),
        (["1,234.5", "2.5"], "", (".", ",")),
        (["1.234,5", "2,5", "1.234"], "", (",", ".")),
        (["1 234", "2 345"], "", ("", " ")),
        (["12", "13"], "", ("", "")),
    ],
)
def test_marks_of_one_column(cells: list[str], decimal: str, marks: tuple[str, str]) -> None:
    assert column_marks(cells, decimal) == marks


def test_the_decimal_mark_of_most_columns_wins() -> None:
    assert find_decimal([["1,5", "2,5", "3.5"], ["1,6", "2,6", "3.6"]]) == ","
    assert find_decimal([["1.5", "2"], ["1.6", "3"]]) == "."
    assert find_decimal([["1", "2"], ["2", "3"]]) == "."


def test_marks_that_show_nothing_are_told_by_what_the_names_say() -> None:
    rows = [["-9,000", "7.600"], ["-9,001", "7.601"]]
    assert find_decimal(rows, ["Temperature bus [°C]", "Pack 1 voltage [mV]"]) == ","
    thousands = [["5.000", "1.000"]] * 4
    assert find_decimal(thousands, ["Bus voltage [mV]", "Bus current [mA]"]) == ","
    assert find_decimal(thousands, ["Bus voltage [V]", "Bus current [A]"]) == "."
    rows = [["9,000", "7.600"], ["9,001", "7.601"]]
    assert find_decimal(rows, ["Pack 1 voltage [mV]", "Temperature bus [°C]"]) == "."


def test_the_sample_of_a_long_file_holds_whole_lines_of_all_of_it() -> None:
    lines = [f"{i};{i * 2}" for i in range(50_000)]
    found = take_sample("\n".join(lines).encode())
    assert set(found.head) <= set(lines)
    assert set(found.later) <= set(lines)
    assert found.later[-1] in lines[-3:]
    assert any(20_000 < int(line.split(";")[0]) < 35_000 for line in found.later)
