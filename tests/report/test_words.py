from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from telemetry.report import words
from telemetry.report.words import NumberSteps
from telemetry.results import Change, Review


@pytest.mark.parametrize(
    ("step", "places"),
    [(1, 0), (0.1, 1), (0.01, 2), (0.05, 2), (0.25, 2), (0.5, 1), (2, 0), (10, 0), (0.0049, 2),
     (0.0322, 1), (0.001, 3), (1e-9, 3), (0.0, 0), (math.nan, 0)],
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
     (599.9999999, "10:00"), (None, "--:--")],
)  # fmt: skip
def test_clock(seconds: float | None, text: str) -> None:
    assert words.clock(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.04, "0.04 s"),
        (0.6, "0.6 s"),
        (12.4, "12 s"),
        (119.7, "2 min 00 s"),
        (900, "15 min 00 s"),
        (58_967, "16 h 23 min"),
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
