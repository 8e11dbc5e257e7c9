"""One worst case at one place, with a circuit that answers as it is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from types import SimpleNamespace
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, Limits
from telemetry.circuit.margins import case_level, worked_out
from telemetry.circuit.worst_cases import Missing
from telemetry.numerics.intervals import Interval
from telemetry.results import Level, WorstCase

Volts = Callable[[Mapping[str, float], str], float]


def worked(
    e: Interval,
    *,
    lowest: float | None = None,
    note: str = "",
    beside: tuple[str, ...] = (),
    volts: Volts = lambda x, _: x["e"],
) -> WorstCase:
    case = SimpleNamespace(
        volts=lambda x: partial(volts, x), amps=lambda x, _: 2 * x["e"], note=note
    )
    circuit: Any = SimpleNamespace(
        case=lambda _: case,
        inputs={"e": e},
        notes_on=lambda _: list(beside),
        aircraft=Aircraft(bus="bus"),
        measured=SimpleNamespace(
            lowest_v={} if lowest is None else {"bus": lowest}, comfort_v={"bus": 6.0}
        ),
    )
    return worked_out("pack-lost", ["bus"], circuit)["bus"]


@pytest.mark.parametrize(
    ("e", "expected"),
    [
        (Interval(6, 5, 8), (6, 5, 8)),
        (Interval(1, -1, 2), (1, 0, 2)),  # a voltage is never below nothing
        (Interval(-1, -2, 1), (0, 0, 1)),
        (Interval(-2, -3, -1), (0, 0, 0)),
    ],
)
def test_the_voltage_of_a_case(e: Interval, expected: tuple[float, float, float]) -> None:
    found = worked(e)
    assert (found.voltage_v, found.low_v, found.high_v) == expected
    assert found.current_a == 2 * e.value
    assert (found.case, found.note) == ("pack-lost", "")


@pytest.mark.parametrize(
    ("lowest", "low", "noted"),
    [(4.9, 4.9, True), (5.0, 5.0, False), (5.1, 5.0, False), (None, 5.0, False)],
)
def test_a_lower_reading_is_the_low_end(lowest: float | None, low: float, noted: bool) -> None:
    found = worked(Interval(6, 5, 8), lowest=lowest)
    assert found.low_v == low
    assert ("lower reading" in found.note) is noted
    assert (found.voltage_v, found.high_v) == (6, 8)


def test_notes_follow_one_another() -> None:
    found = worked(Interval(6, 5, 8), note="first", beside=("second", "", "third"))
    assert found.note == "first; second; third"
    assert worked(Interval(6, 5, 8), beside=("only",)).note == "only"


def test_what_is_missing_is_said_and_nothing_else() -> None:
    def missing(_x: Mapping[str, float], _place: str) -> float:
        raise Missing("the lead is not known")

    found = worked(Interval(6, 5, 8), volts=missing, lowest=4.0)
    assert found == WorstCase(
        case="pack-lost",
        current_a=None,
        voltage_v=None,
        low_v=None,
        high_v=None,
        note="the lead is not known",
    )


@pytest.mark.parametrize(
    ("volts", "comfort", "level"),
    [
        (Interval(3.9, 3.8, 3.95), 6.0, Level.GROUND),  # surely within 0.5 V of 3.5 V
        (Interval(3.9, 3.8, 4.0), 6.0, Level.WATCH),
        (Interval(3.99, 3.8, 5.0), None, Level.WATCH),
        (Interval(4.3, 4.0, 4.49), None, Level.WATCH),  # surely within a volt of it
        (Interval(4.3, 4.0, 4.5), None, Level.CLEAR),
        (Interval(5.9, 5.8, 6.1), 6.0, Level.WATCH),  # below the comfortable supply
        (Interval(6.0, 5.8, 6.1), 6.0, Level.CLEAR),
    ],
)
def test_a_case_is_judged_by_the_limits_of_the_review(
    volts: Interval, comfort: float | None, level: Level
) -> None:
    """Common practice, no source: margins of 1.0 and 0.5 V, comfortable supply of 6.0 V."""
    found = worked(volts)
    assert case_level(found, 3.5, comfort, Limits()) is level
    assert found.level is case_level(found, 3.5, 6.0, Limits())
    stalled = replace(found, case="all-stalled")
    assert case_level(stalled, 3.5, comfort, Limits()) is None
