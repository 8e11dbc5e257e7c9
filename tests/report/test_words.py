from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.report import words
from telemetry.report.words import NumberSteps
from telemetry.results import (
    Answer,
    Change,
    ColumnUse,
    EarlierAnswer,
    Level,
    Review,
    StandingFinding,
)


@pytest.mark.parametrize(
    ("step", "places"),
    [(1, 0), (0.1, 1), (0.01, 2), (0.05, 2), (0.25, 2), (0.5, 1), (2, 0), (10, 0), (0.0049, 2),
     (0.0322, 1), (0.001, 3), (1e-9, 3), (0.0, 0), (math.nan, 0), (math.inf, 0), (0.0001, 3),
     (30, 0), (1.5, 1), (0.1 + 7e-8, 1), (0.1 + 1.5e-7, 0), (0.004, 3),
     (12.34567, 0)],
)  # fmt: skip
def test_decimals_of_a_resolution(step: float, places: int) -> None:
    assert words.decimals_of(step) == places


@given(st.floats(-1e4, 1e4), st.sampled_from([0.001, 0.01, 0.1, 1.0]))
def test_a_number_never_shows_more_than_its_resolution(value: float, step: float) -> None:
    text = words.number(value, step)
    _, _, decimals = text.partition(".")
    assert 10 ** -len(decimals) >= step * 0.999
    assert abs(float(text) - value) <= step / 2 * 1.001


@pytest.mark.parametrize("value", [None, math.nan, math.inf])
def test_what_is_missing_is_said(value: float | None) -> None:
    assert words.measure(value, "V") == "not measured"
    assert words.percent(value) == "not measured"
    assert words.lasting(value) == "not measured"


@pytest.mark.parametrize(
    ("low", "high", "uncertain", "text"),
    [
        (2, 9, False, "reached in 2 to 9 flights"),
        (1, 1, False, "reached in 1 flight"),
        (3, 3, False, "reached in 3 flights"),
        (None, None, True, "the trend is too uncertain to say when"),
        (None, None, False, ""),
    ],
)
def test_when_a_limit_is_reached(
    low: int | None, high: int | None, uncertain: bool, text: str
) -> None:
    change = Change(
        quantity="", unit="A", before=None, now=None, rise=30.0, low=20.0, high=40.0,
        rise_unit="%", limit=60.0, flights_to_limit=low, flights_to_limit_low=low,
        flights_to_limit_high=high, too_uncertain=uncertain, false_alarm=0.1,
    )  # fmt: skip
    assert words.limit_words(change) == text


def test_no_minus_zero() -> None:
    assert words.number(-0.0004, 0.01) == "0.00"
    assert words.number(-0.01, 0.01) == "-0.01"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "00:00"), (59.99, "00:59"), (522.6, "08:42"), (4523, "75:23"), (-3, "-00:03"),
     (-1, "-00:01"), (599.9999993, "10:00"), (599.999998, "09:59"),
     (-0.0000005, "00:00"), (0.4, "00:00"),
     (None, "--:--"), (math.nan, "--:--")],
)  # fmt: skip
def test_clock(seconds: float | None, text: str) -> None:
    assert words.clock(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.04, "0.04 s"),
        (0.094, "0.09 s"),
        (0.095, "0.1 s"),
        (0.6, "0.6 s"),
        (9.94, "9.9 s"),
        (9.95, "10 s"),
        (12.4, "12 s"),
        (119.4, "119 s"),
        (119.7, "2 min 00 s"),
        (900, "15 min 00 s"),
        (7199.4, "119 min 59 s"),
        (7199.5, "2 h 00 min"),
        (58_967, "16 h 23 min"),
        (math.inf, "not measured"),
    ],
)
def test_lasting(seconds: float, text: str) -> None:
    assert words.lasting(seconds) == text


def test_an_interval_has_the_digits_it_can_carry() -> None:
    assert words.interval(46.23, 42.31, 50.44, "mOhm") == "46 mOhm (42 to 50)"
    assert words.interval(6.23, 5.71, 6.64, "mOhm") == "6.2 mOhm (5.7 to 6.6)"
    assert words.interval(4.3, 4.1, 4.5, "V") == "4.30 V (4.10 to 4.50)"
    assert words.interval(None, 1.0, 2.0, "V") == "not measured"
    assert words.interval(46.23, None, None, "mOhm") == "46 mOhm"
    assert words.interval(46.23, 42.31, None, "mOhm") == "46 mOhm"
    assert words.interval(6.5, 5.5, 7.4, "mOhm") == "6.5 mOhm (5.5 to 7.4)"
    assert words.interval(6.5, 5.5, 7.5, "mOhm") == "6 mOhm (6 to 8)"  # 2 mOhm wide: whole ones
    assert words.bare_interval(4.3, 4.1, 4.5, "V") == "4.30 (4.10 to 4.50)"
    assert words.bare_interval(math.inf, 4.1, 4.5, "V") == "not measured"


@pytest.mark.parametrize(
    ("unit", "text"),
    [
        ("V", "5.68 V"),
        ("A", "5.7 A"),
        ("mAh", "6 mAh"),
        ("mOhm", "6 mOhm"),
        ("s", "5.7 s"),
        ("%", "6 %"),
        ("A/s", "5.68 A/s"),
        ("", "5.68"),
    ],
)
def test_digits_where_no_resolution_is_known(unit: str, text: str) -> None:
    assert words.measure(5.6789, unit) == text
    assert words.measure(math.nan, unit) == "not measured"
    assert words.measure(5.6789, unit, 0.5) == f"5.7 {unit}".rstrip()


def test_percent() -> None:
    assert [words.percent(x) for x in (0.0, 0.124, 0.5, 1.0)] == ["0 %", "12 %", "50 %", "100 %"]


@pytest.mark.parametrize(
    ("start", "text"),
    [
        (None, ""),
        ("2026-05-14", "14 May 2026"),
        ("2026-01-02T08:05:59", "2 January 2026, 08:05"),
        ("2026-12-31T23:59:00+02:00", "31 December 2026, 23:59 (UTC+0200)"),
        ("long ago", "long ago"),
    ],
)
def test_a_date_in_words(start: str | None, text: str) -> None:
    assert words.date_words(start) == text


@pytest.mark.parametrize(
    ("start", "text"),
    [("2026-05-14T10:32:00", "14 May"), ("2026-09-01", "1 Sep"), (None, ""), ("long ago", "")],
)
def test_a_day_in_few_letters(start: str | None, text: str) -> None:
    assert words.day_words(start) == text


@pytest.mark.parametrize(
    ("more", "text"),
    [
        ({}, "ground"),
        ({"number": 13}, "ground, as of flight 13"),
        (
            {"number": 13, "start": "2026-04-25T10:00:00", "since_number": 5},
            "ground, since flight 5, as of flight 13, 25 April 2026",
        ),
    ],
)
def test_how_an_aircraft_stands(more: dict[str, Any], text: str) -> None:
    answer = Answer(
        level=Level.GROUND, title="pack 1 is out", source="history", aircraft="tern", **more
    )
    assert words.answer_words(answer) == text
    assert words.answer_told(answer) == f"Tern: {text}: pack 1 is out."
    assert words.earlier_words(answer) == ""


def test_what_another_version_said_of_the_same_flights() -> None:
    gone = StandingFinding(code="branch-resistance-rising", place="left wing", level=Level.GROUND)
    new = StandingFinding(code="pack-weak", place="", level=Level.WATCH)
    earlier = EarlierAnswer(program="0.0.9", level=Level.GROUND, gone=(gone,), new=(new,))
    answer = Answer(level=Level.WATCH, title="", source="history", earlier=earlier)
    assert words.earlier_words(answer) == (
        "Another version (0.0.9) said ground of the same flights, notes and profile; now open: "
        "watch, whole aircraft: pack weak; no longer: ground, left wing: lead resistance rising."
    )


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("logs/day-1.csv", "logs/day-1.csv"),
        (r"C:\logs\day_1.csv", r"C:\logs\day_1.csv"),
        ("my log.csv", '"my log.csv"'),
        ('a"b$c`d!.csv', '"a?b?c?d?.csv"'),
        ("", '""'),
    ],
)
def test_a_name_as_one_word_of_a_command(name: str, word: str) -> None:
    assert words.quoted(name) == word


@pytest.mark.parametrize(
    ("kinds", "text"),
    [
        ([], "no flights"),
        (["flight"], "1 flight"),
        (["bench"], "1 bench recording"),
        (["flight", "bench", "flight", "bench"], "2 flights and 2 bench recordings"),
    ],
)
def test_flights_and_bench_recordings_are_counted_apart(kinds: list[str], text: str) -> None:
    assert words.flights_counted(kinds) == text


def column(place: str | None, quantity: str, resolution: float | None) -> ColumnUse:
    return ColumnUse(
        column="", key="", quantity=quantity, place=place, label="", unit="", reason="",
        update_s=None, resolution=resolution, used=True,
    )  # fmt: skip


def test_steps_are_those_of_the_columns_and_elsewhere_of_the_coarsest() -> None:
    used = (
        ("bus", "voltage", 0.5), ("bus", "voltage", 2.0), ("pack 1", "voltage", 0.1),
        ("tail", "voltage", None), ("tail", "voltage", 0.0), ("pack 1", "consumed", 0.25),
        ("pack 2", "consumed", 10.0), ("tail", "temperature", 0.5),
    )  # fmt: skip
    steps = NumberSteps.of(SimpleNamespace(columns=[column(*use) for use in used]))
    assert steps.known == {
        ("bus", "voltage"): 0.5, ("pack 1", "voltage"): 0.1, (None, "voltage"): 2.0,
        ("pack 1", "consumed"): 0.25, ("pack 2", "consumed"): 10.0, (None, "consumed"): 10.0,
        ("tail", "temperature"): 0.5, (None, "temperature"): 0.5,
    }  # fmt: skip
    assert steps.bare_volts(7.46, "pack 1") == "7.5"
    assert steps.bare_volts(7.46, "tail") == "7", "as the coarsest column"
    assert steps.bare_volts(None, "bus") == "-"
    assert steps.bare_amps(7.46) == "7.5", "no column tells its step"
    # A counter that counts in quarters says no more than whole ones.
    assert steps.bare_mah(811.26, "pack 1") == "811"
    assert NumberSteps({("bus", "consumed"): 0.25}).mah(811.26, "bus") == "811 mAh"


def test_a_place_shows_the_digits_of_its_own_column(review: Review) -> None:
    steps = NumberSteps(
        {("pack 1", "voltage"): 0.1, ("bus", "voltage"): 0.01, (None, "voltage"): 0.1}
    )
    assert steps.volts(7.4312, "pack 1") == "7.4 V"
    assert steps.volts(5.9312, "bus") == "5.93 V"
    assert steps.volts(5.9312, "unheard of") == "5.9 V"
    known = NumberSteps.of(review)
    assert known.amps(12.4444, "bus") == "12.4 A"
    assert known.mah(811.6, "pack 1") == "812 mAh"


def test_counted() -> None:
    assert [words.counted(n, "gap") for n in (0, 1, 2)] == ["no gaps", "1 gap", "2 gaps"]


def test_a_sentence() -> None:
    assert words.sentence("look at it") == "Look at it."
    assert words.sentence("Why?") == "Why?"
    assert words.sentence(" ") == ""
