"""What single flights say, carried on: the newest, what two say alike, what only a note closes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from telemetry.aircraft import Aircraft
from telemetry.checks.across import judge
from telemetry.checks.standing import WINDOW, standing_findings
from telemetry.results import Cause, Finding, History, Level, NoteMark
from telemetry.trends.measures import ReportedFinding

Make = Callable[..., Any]

W, G, U = Level.WATCH, Level.GROUND, Level.UNKNOWN


def droop(level: Level, **more: Any) -> ReportedFinding:
    return ReportedFinding(
        "regulator-droop",
        "bus",
        level,
        "bus fell 5 times",
        causes=(Cause(kind="regulator-limit", cause="a regulator"),),
        confirm="Load it.",
        advice="Do not fly." if level is G else "Watch it.",
        **more,
    )


def mark(before: int, place: str | None = "bus", kind: str = "repaired") -> NoteMark:
    return NoteMark(kind=kind, place=place, text="", date="2026-05-01", before=before)


@pytest.fixture
def told(make_flight: Make, make_case: Make) -> Callable[..., list[Finding]]:
    """What stands of these flights: None a flight without a finding, else its only one."""

    def told(
        *seen: ReportedFinding | None,
        notes: Sequence[NoteMark] = (),
        established: Sequence[Finding] = (),
        bench: Sequence[int] = (),
    ) -> list[Finding]:
        flights = [
            make_flight(
                reported=() if s is None else (s,),
                kind="bench" if k in bench else "flight",
                file=f"flight-{k + 1}.csv",
            )
            for k, s in enumerate(seen)
        ]
        return standing_findings(make_case(flights, notes=notes), established)

    return told


def test_eleven_flights_that_say_the_same(told: Make) -> None:
    """Six times watch and five times ground: ground, since the first of them."""
    levels = (W, G, W, G, W, W, G, W, G, W, G)
    (found,) = told(*[None] * 9, *(droop(x) for x in levels))
    assert (found.code, found.place, found.level) == ("regulator-droop", "bus", G)
    assert found.since_flight == "10"
    assert found.evidence == {
        "flights_with": 11,
        "flights_since": 11,
        "gravest_flight": "flight-20.csv",
        "recent_flights": "5 of the last 5",
    }
    assert found.title == "bus fell 5 times; 11 flights show it, each by itself"
    assert (found.explanations, found.confirm) == (("a regulator",), "Load it.")
    assert found.advice == "Do not fly.", "that of the gravest"


def test_a_history_is_never_milder_than_its_newest_flight(told: Make) -> None:
    for level in (W, G):
        (found,) = told(None, None, droop(level))
        assert (found.level, found.since_flight) == (level, "3")
        assert found.title == "bus fell 5 times"
    assert told(None, None, droop(Level.CLEAR)) == []


@pytest.mark.parametrize(
    ("seen", "level"),
    [
        ((droop(W), None), None),
        ((droop(W), droop(W), None), W),
        ((droop(W), None, None, droop(W), None), W),
        ((droop(W), None, None, None, droop(W), None), None),
        ((droop(W), droop(W), None, None, None), W),
        ((droop(W), droop(W), None, None, None, None), None),
        ((droop(G), None), G),
        ((droop(G), *[None] * (WINDOW - 1)), G),
        ((droop(G), *[None] * WINDOW), None),
        ((droop(G), droop(W), None), G),
        ((droop(G), *[None] * WINDOW, droop(W)), W),
    ],
)
def test_two_of_the_last_five_or_one_that_grounded(
    told: Make, seen: tuple[ReportedFinding | None, ...], level: Level | None
) -> None:
    found = told(*seen)
    assert [f.level for f in found] == ([] if level is None else [level])


def test_what_is_said_alike_is_of_one_code_and_place(told: Make) -> None:
    other = (
        ReportedFinding("switch-step", "bus", W),
        ReportedFinding("regulator-droop", "regulator", W),
    )
    for one in other:
        assert told(droop(W), one, None) == []


def test_it_began_with_the_first_of_the_flights_that_follow_closely(told: Make) -> None:
    gap = [None] * (WINDOW - 1)
    (found,) = told(droop(W), *gap, droop(W), *gap, droop(W))
    assert (found.since_flight, found.evidence["flights_with"]) == ("1", 3)
    (found,) = told(droop(W), *gap, None, droop(W), *gap, droop(W))
    assert (found.since_flight, found.evidence["flights_with"]) == (str(WINDOW + 2), 2)


@pytest.mark.parametrize("level", [W, G])
def test_what_lasts_stands_as_grave_as_it_was(told: Make, level: Level) -> None:
    lost = ReportedFinding("pack-out", "pack 2", level, "pack 2 stopped in flight", lasts=True)
    (found,) = told(None, lost, *[None] * 40)
    assert (found.code, found.place, found.level) == ("pack-out", "pack 2", level)
    assert (found.since_flight, found.evidence["flights_since"]) == ("2", 41)
    assert found.title.endswith("; not seen in the 40 flights since, but no repair is noted")
    # A milder one later does not make it milder.
    (found,) = told(lost, None, lost._replace(level=W, lasts=False))
    assert (found.level, found.since_flight) == (level, "1")


@pytest.mark.parametrize(
    ("note", "stands"),
    [
        (mark(1, "pack 2"), False),
        (mark(1, "pack 2", "changed"), False),
        (mark(1, "all"), False),
        (mark(3, "pack 2"), False),
        (mark(0, "pack 2"), True),
        (mark(1, "pack 1"), True),
        (mark(1, None), True),
        (mark(1, "pack 2", "checked"), True),
        (mark(1, "pack 2", "charged"), True),
    ],
)
def test_only_a_note_at_its_place_closes_it(told: Make, note: NoteMark, stands: bool) -> None:
    lost = ReportedFinding("pack-out", "pack 2", G, lasts=True)
    assert bool(told(lost, None, None, notes=[note])) is stands
    # The same of the newest flight: what was put right since is closed.
    last = told(None, None, lost, notes=[mark(3, note.place, note.kind)])
    closes = note.restarts and note.place != "pack 1"
    assert bool(last) is not closes


def test_what_has_no_place_is_closed_by_a_note_on_all(told: Make) -> None:
    seen = ReportedFinding("current-balance", "", W)
    (found,) = told(seen, seen, notes=[mark(2, "bus")])
    assert found.place is None
    assert told(seen, seen, notes=[mark(2, "all")]) == []


def test_a_log_too_thin_is_told_of_the_newest_flight_alone(told: Make) -> None:
    thin = ReportedFinding("log-too-thin", "", U, "this log cannot tell everything")
    (found,) = told(None, thin)
    assert found.level is U
    assert told(thin, thin, None) == []
    # A bench recording since is none, and takes nothing back.
    assert told(None, thin, bench=[1]) == []
    assert [f.level for f in told(thin, None, bench=[1])] == [U]
    assert [f.level for f in told(thin, bench=[0])] == [U]


def test_a_bench_recording_does_not_close_the_newest_flight(told: Make) -> None:
    (found,) = told(None, droop(W), None, bench=[2])
    assert found.level is W
    (found,) = told(None, None, droop(W), bench=[2])
    assert found.level is W, "and what it shows itself counts"


@pytest.mark.parametrize(
    ("code", "place", "level", "left"),
    [
        ("supply-dips", "bus", G, 0),
        ("supply-dips", "bus", W, 1),
        ("supply-dips", "tail", G, 1),
        ("pack-weak", "bus", G, 1),
        ("regulator-droop", "bus", G, 0),
    ],
)
def test_what_the_flights_together_tell_as_gravely_is_not_told_twice(
    told: Make, code: str, place: str, level: Level, left: int
) -> None:
    known = Finding(code=code, level=level, place=place, title="")
    assert len(told(None, droop(G), established=[known])) == left


def test_verdict_and_order_of_the_history_follow(make_season: Make) -> None:
    flights = make_season(3, flights=12)
    droops = [m if k < 6 else _with(m, droop(G if k == 9 else W)) for k, m in enumerate(flights)]
    history: History = judge(droops, aircraft=Aircraft(name="wren", bus="bus"))
    assert history.verdict is G
    assert [(f.code, f.since_flight) for f in history.findings] == [("regulator-droop", "7")]
    closed = judge(droops, [mark(12)], Aircraft(name="wren", bus="bus"))
    assert closed.verdict is Level.CLEAR


def _with(measures: Any, *seen: ReportedFinding) -> Any:
    from dataclasses import replace

    return replace(measures, reported=seen)
