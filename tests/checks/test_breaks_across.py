"""Contacts that open: which silences, falls and strays are told, each limit from both sides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import log, nan
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Limits
from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.leads.breaks import (
    common_factor,
    contacts_at,
    counted_finding,
    cut_off,
    deepest_at,
    falls_at,
    judge_pauses,
    judge_strays,
    one_sided,
    outstanding,
)
from telemetry.results import Level, NoteMark
from telemetry.trends.counts import Burst
from telemetry.trends.measures import EventCount, Measures, ReportedFinding

Make = Callable[..., Any]
Columns = dict[tuple[str, str], list[float]]

CONTACT = "contact-intermittent"


def repaired(before: int, place: str = "tail") -> NoteMark:
    return NoteMark(kind="repaired", place=place, text="", date="2026-05-01", before=before)


@pytest.fixture
def season(make_flight: Make, make_case: Make) -> Callable[..., AircraftHistory]:
    """A case of columns: one value for each flight, NaN where it was not measured."""

    def make(columns: Columns, **more: Any) -> AircraftHistory:
        sizes = {len(values) for values in columns.values()}
        (n,) = sizes
        flights = [
            make_flight({key: x[k] for key, x in columns.items() if not np.isnan(x[k])})
            for k in range(n)
        ]
        return make_case(flights, **more)

    return make


# Cut off.


def down(make_flight: Make, *flights: int, n: int = 5, seen: Any = None) -> list[Measures]:
    seen = seen or ReportedFinding("brownout", "tail", Level.GROUND)
    return [make_flight(reported=(seen,) if k in flights else ()) for k in range(n)]


@pytest.mark.parametrize(
    ("flights", "level", "since", "flights_since"),
    [
        pytest.param((4,), Level.GROUND, "5", 1, id="in the last flight"),
        pytest.param((1, 4), Level.GROUND, "2", 4, id="twice, and now"),
    ],
)
def test_cut_off(
    make_flight: Make,
    make_case: Make,
    flights: tuple[int, ...],
    level: Level,
    since: str,
    flights_since: int,
) -> None:
    found = JudgedAcross()
    assert cut_off(make_case(down(make_flight, *flights)), CONTACT, "tail", found)
    (one,) = found.drafts
    assert (one.code, one.place, one.level, one.since_flight) == (CONTACT, "tail", level, since)
    assert one.evidence == {"flights_with": len(flights), "flights_since": flights_since}
    often = "1 flight" if len(flights) == 1 else "2 flights"
    assert f"in {often}" in one.title


@pytest.mark.parametrize("flights", [(3,), (1,), (1, 3)])
def test_a_newest_flight_that_was_not_cut_off_shows_none(
    make_flight: Make, make_case: Make, flights: tuple[int, ...]
) -> None:
    """Nor do counts tell: how long it stays open is told by the replay."""
    found = JudgedAcross()
    assert cut_off(make_case(down(make_flight, *flights)), CONTACT, "tail", found)
    assert not found.drafts


@pytest.mark.parametrize(
    "seen",
    [
        ReportedFinding("brownout", "left wing", Level.GROUND),
        ReportedFinding("brownout", "tail", Level.WATCH),
        ReportedFinding("sag", "tail", Level.GROUND),
    ],
    ids=["elsewhere", "less grave", "something else"],
)
def test_not_cut_off(make_flight: Make, make_case: Make, seen: ReportedFinding) -> None:
    found = JudgedAcross()
    assert not cut_off(make_case(down(make_flight, 4, seen=seen)), CONTACT, "tail", found)
    assert not found.drafts


def test_a_repair_ends_it(make_flight: Make, make_case: Make) -> None:
    for before, told in ((1, True), (2, False)):
        case = make_case(down(make_flight, 1), notes=[repaired(before)])
        assert cut_off(case, CONTACT, "tail", JudgedAcross()) is told


# Silences.


def silences(*seconds: float, p: float | list[float] = 1e-5, off: float = 1.0) -> Columns:
    chances = [p] * len(seconds) if isinstance(p, float) else p
    return {
        ("tail", "silence_s"): list(seconds),
        ("tail", "silence_p"): chances,
        ("tail", "silence_off"): [off] * len(seconds),
    }


@pytest.mark.parametrize(
    ("columns", "expected"),
    [
        pytest.param(silences(0.6, 0.5, 0.6, 1.3), [3], id="over twice the longest before"),
        pytest.param(silences(0.6, 0.5, 0.6, 1.2), [], id="twice"),
        pytest.param(silences(0.2, 0.2, 0.2, 1.1), [3], id="over a gap of 1 s"),
        pytest.param(silences(0.2, 0.2, 0.2, 1.0), [], id="a gap of 1 s"),
        pytest.param(silences(0.6, 0.5, 0.6, 1.3, off=0.0), [], id="nothing electrical"),
        pytest.param(silences(0.6, 0.5, 0.6, 1.3, off=nan), [], id="measured without"),
        pytest.param(silences(0.2, 0.2, 3.0), [], id="two flights before"),
        pytest.param(silences(0.2, nan, 0.2, 3.0), [], id="one of three without"),
        pytest.param(silences(0.2, nan, 0.2, 0.2, 3.0), [4], id="three with"),
        pytest.param(silences(0.2, 0.2, 0.2, 3.0, p=1e-4), [], id="a chance of 1 to 10000"),
        pytest.param(silences(0.2, 0.2, 0.2, 3.0, p=9.9e-5), [3], id="a smaller one"),
        pytest.param(silences(0.2, 0.2, 0.2, 3.0, p=[nan] * 4), [], id="chance unknown"),
        pytest.param(silences(0.5, 0.5, 0.5, 3.0, 1.1), [3, 4], id="one told is no habit"),
        pytest.param(
            silences(0.5, 0.5, 0.5, 3.0, 1.1, p=[1.0, 1.0, 1.0, 1.0, 1e-5]), [], id="one by chance"
        ),
    ],
)
def test_outstanding(season: Make, columns: Columns, expected: list[int]) -> None:
    assert outstanding(season(columns), "tail") == expected


def test_outstanding_since_a_repair(season: Make) -> None:
    case = season(silences(9, 9, 0.5, 0.5, 0.5, 3.0, 1.2), notes=[repaired(2)])
    assert outstanding(case, "tail") == [5, 6]


def test_silence_of_one_unit_alone(season: Make) -> None:
    columns = silences(0.4, 0.2, 0.6, 3.0, 0.2, 5.0)
    columns["left wing", "silence_s"] = [0.2, 0.2, 0.2, 0.2, 0.2, 0.2]
    columns["left wing", "silence_p"] = [1.0] * 6
    columns["left wing", "silence_off"] = [1.0] * 6
    found = judge_pauses(season(columns), "tail", ["tail", "left wing"])
    assert found is not None
    assert (found.code, found.level, found.place) == (CONTACT, Level.WATCH, "tail")
    assert found.since_flight == "4"
    assert "5.0 s in 2 flights" in found.title
    assert found.evidence == {
        "flights_with": 2,
        "silence_s": 5.0,
        "usual_silence_s": 0.4,  # the middle of the three before
        "flights_since": 3,
    }


def test_units_silent_together_are_no_contact(season: Make) -> None:
    columns = silences(0.2, 0.2, 0.2, 3.0, 4.0)
    columns["left wing", "silence_s"] = [0.2, 0.2, 0.2, 3.0, 0.2]
    columns["left wing", "silence_p"] = [1e-5] * 5
    columns["left wing", "silence_off"] = [1.0] * 5
    found = judge_pauses(season(columns), "tail", ["tail", "left wing"])
    assert found is not None
    assert (found.since_flight, found.evidence["flights_with"]) == ("5", 1)
    assert "4.0 s in 1 flight while" in found.title
    assert judge_pauses(season(columns), "left wing", ["tail", "left wing"]) is None


def test_a_silence_is_told_of_the_flight_with_it(season: Make) -> None:
    """How many good flights close it is no matter of the silences."""
    columns = silences(0.2, 0.2, 0.2, 3.0)
    assert judge_pauses(season(columns), "tail", ["tail"]) is not None
    assert judge_pauses(season(columns, notes=[repaired(4)]), "tail", ["tail"]) is None
    assert judge_pauses(season(silences(0.2, 0.2, 0.2, 3.0, 0.2)), "tail", ["tail"]) is None


# Falls that are counted.


def with_events(make_flight: Make, *flights: list[EventCount]) -> list[Measures]:
    return [make_flight(events=tuple(events)) for events in flights]


def event(origin: str, count: int = 1, deepest_v: float = 0.5, place: str = "tail") -> EventCount:
    return EventCount(place=place, origin=origin, count=count, deepest_v=deepest_v)


def test_falls_of_one_place_and_some_origins(make_flight: Make, make_case: Make) -> None:
    flights = with_events(
        make_flight,
        [event("contact", 2, 0.4), event("unknown", 3, 0.9), event("load", 50, 7.0)],
        [],
        [event("contact", 5, 0.6, place="left wing"), event("contact", 1, 0.7)],
    )
    case = make_case(flights)
    assert falls_at(case, "tail", ("contact", "unknown")) == [5, 0, 1]
    assert deepest_at(case, "tail", ("contact", "unknown")) == 0.9
    assert deepest_at(case, "tail", ("contact",)) == 0.7
    assert deepest_at(case, "tail", ("source",)) is None


@pytest.mark.parametrize(
    ("count", "flights", "words"),
    [(1, 1, "once in 1 flight"), (3, 2, "3 times in 2 flights"), (2, 1, "2 times in 1 flight")],
)
def test_counted(make_flight: Make, make_case: Make, count: int, flights: int, words: str) -> None:
    burst = Burst(count=count, flights=flights, since=3, usual=0.1, p=1e-6)
    case = make_case([make_flight() for _ in range(5)])
    for grave, level in ((True, Level.GROUND), (False, Level.WATCH)):
        found = counted_finding(
            case, CONTACT, "tail", burst, grave=grave, title="it fell", deepest=0.7
        )
        assert (found.level, found.since_flight) == (level, "4")
        assert found.title == f"it fell: {words}"
        assert found.evidence == {
            "times": count,
            "flights_with": flights,
            "usual_per_flight": 0.1,
            "p_chance": 1e-6,
            "deepest_v": 0.7,
            "flights_since": 2,
        }


def contacts(case: AircraftHistory, *places: str) -> JudgedAcross:
    return contacts_at(case, places)


@pytest.mark.parametrize("origin", ["contact", "unknown", "brownout"])
def test_falls_that_no_load_explains_are_counted(
    make_flight: Make, make_case: Make, origin: str
) -> None:
    """Ten quiet flights, then eight and eight falls: far beyond chance, in two flights."""
    rows = [[] for _ in range(10)] + [[event(origin, 8, 0.8)], [event(origin, 8, 1.2)]]
    case = make_case(with_events(make_flight, *rows))
    (found,) = contacts(case, "tail", "left wing").drafts
    assert (found.code, found.place, found.level) == (CONTACT, "tail", Level.GROUND)
    assert (found.since_flight, found.evidence["times"]) == ("11", 16)
    assert found.evidence["deepest_v"] == 1.2
    # In a single flight it may be anything: watch.
    (one,) = contacts(make_case(with_events(make_flight, *rows[:10], rows[10] * 4)), "tail").drafts
    assert (one.level, one.since_flight, one.evidence["flights_with"]) == (Level.WATCH, "11", 1)


def test_falls_of_all_places_are_no_contact_and_a_repair_starts_anew(
    make_flight: Make, make_case: Make
) -> None:
    everywhere = [event("contact", 8, place=p) for p in ("tail", "left wing", "right wing")]
    flights = with_events(make_flight, *[[]] * 10, everywhere, everywhere)
    assert not contacts(make_case(flights), "tail", "left wing", "right wing").drafts
    alone = with_events(make_flight, *[[]] * 8, [event("contact", 8)] * 2)
    assert contacts(make_case(alone), "tail").drafts
    assert not contacts(make_case(alone, notes=[repaired(9)]), "tail").drafts
    # How long it stays open after that is no matter of counts.
    over = with_events(make_flight, *[[]] * 8, [event("contact", 8)] * 2, [])
    assert not contacts(make_case(over), "tail").drafts


@pytest.mark.parametrize(
    ("counts", "level"),
    [
        ((1, 1), None),
        ((2, 1), Level.WATCH),
        ((2, 2), Level.WATCH),
        ((3, 3), Level.GROUND),
    ],
)
def test_fewer_falls_are_watched_before_they_ground(
    make_flight: Make, make_case: Make, counts: tuple[int, int], level: Level | None
) -> None:
    """Half a fall in five flights is known beforehand, none in ten more: 0.5 in 15.

    In two flights with q = 2 / 17 the chance of none is (15 / 17)^0.5 = 0.93934, of one 0.5 q of
    that, of two 0.375 q^2, of three 0.3125 q^3: of 2 or more 5.4e-3, 3 or more 5.3e-4, 4 or more
    5.5e-5, 6 or more 6.2e-7. Told from 1 / 400 / 4 = 6.3e-4, grave from 1 / 8000 / 4 = 3.1e-5.
    """
    rows = [*[[]] * 10, *([event("contact", c)] for c in counts)]
    found = contacts(make_case(with_events(make_flight, *rows)), "tail").drafts
    assert [f.level for f in found] == ([] if level is None else [level])


def test_what_was_cut_off_is_told_once(make_flight: Make, make_case: Make) -> None:
    seen = (ReportedFinding("brownout", "tail", Level.GROUND),)
    rows = [*[[]] * 10, [event("brownout", 8)], [event("brownout", 8)]]
    flights = with_events(make_flight, *rows)
    flights[-1] = replace(flights[-1], reported=seen)
    (found,) = contacts(make_case(flights), "tail", "left wing").drafts
    assert "lost its supply" in found.title


# The drop that strays.


def test_one_sided_is_the_logarithm_of_up_over_down(season: Make) -> None:
    case = season(
        {
            ("tail", "drop_tail_v"): [0.2, 0.1, 0.0, 0.1, nan],
            ("tail", "drop_tail_other_v"): [0.1, 0.4, 0.1, 0.0, 0.1],
        }
    )
    expected = [log(2), -log(4), nan, nan, nan]
    assert one_sided(case, "tail") == pytest.approx(expected, nan_ok=True)


@pytest.mark.parametrize(
    ("columns", "factor"),
    [
        pytest.param({"left wing": [9.0, 0.1, 0.3, 0.3, 0.9]}, 3.0, id="means before and since"),
        pytest.param({"left wing": [9.0, 0.3, 0.3, 0.1, 0.1]}, 1.0, id="never less than 1"),
        pytest.param({"left wing": [9.0, 0.0, 0.0, 0.1, 0.1]}, 1.0, id="no ratio to nothing"),
        pytest.param({"left wing": [nan, nan, nan, 0.1, 0.1]}, 1.0, id="nothing before"),
        pytest.param({"left wing": [9.0, 0.1, 0.1, nan, nan]}, 1.0, id="nothing since"),
        pytest.param(
            {
                "left wing": [9.0, 0.1, 0.1, 0.2, 0.2],
                "right wing": [9.0, 0.1, 0.1, 0.4, 0.4],
                "nose": [9.0, 0.1, 0.1, 0.9, 0.9],
            },
            4.0,
            id="the middle of three",
        ),
    ],
)
def test_common_factor(season: Make, columns: dict[str, list[float]], factor: float) -> None:
    """First flight of the baseline 1, change in flight 3: (0.3 + 0.9) / 2 over (0.1 + 0.3) / 2."""
    columns = {(p, "drop_tail_v"): x for p, x in columns.items()}
    case = season(columns)
    assert common_factor(case, [p for p, _ in columns], 1, 3, 5) == pytest.approx(factor)


def test_common_factor_of_no_other_place(season: Make) -> None:
    assert common_factor(season({("tail", "drop_tail_v"): [0.1, 0.9]}), [], 0, 1, 2) == 1.0


N, SINCE = 14, 8


def tails(up: list[float], down: list[float], place: str = "tail") -> Columns:
    return {(place, "drop_tail_v"): up, (place, "drop_tail_other_v"): down}


def stepped(before: float, now: float) -> list[float]:
    return [before] * SINCE + [now] * (N - SINCE)


def stray(case: AircraftHistory, *others: str) -> tuple[Any, JudgedAcross]:
    found = JudgedAcross()
    return judge_strays(case, "tail", ["tail", *others], found), found


@pytest.mark.parametrize(
    ("before", "now", "level"),
    [
        pytest.param(0.1, 0.159, None, id="less than 0.06 V more"),
        pytest.param(0.1, 0.161, Level.WATCH, id="more than 0.06 V"),
        pytest.param(0.25, 0.374, None, id="less than half as much again"),
        pytest.param(0.25, 0.375, Level.WATCH, id="half as much again"),
        pytest.param(0.1, 0.499, Level.WATCH, id="below the margin that grounds"),
        pytest.param(0.1, 0.5, Level.GROUND, id="at the margin that grounds"),
    ],
)
def test_a_drop_that_strays(season: Make, before: float, now: float, level: Level | None) -> None:
    case = season(tails(stepped(before, now), [before] * N))
    finding, found = stray(case)
    (trend,) = found.trends
    assert (trend.code, trend.unit) == (CONTACT, "%")
    assert trend.record().value[-1] == pytest.approx(100 * log(now / before))
    assert (finding is None) is (level is None)
    if finding is not None:
        assert (finding.level, finding.since_flight) == (level, "9")
        assert finding.change.before == pytest.approx(before)
        assert finding.change.now == pytest.approx(now)
        assert finding.change.rise == pytest.approx(100 * log(now / before))
        assert (finding.change.unit, finding.change.rise_unit) == ("V", "%")


def test_a_stray_below_0_5_v_that_is_not_sure_does_not_ground(
    season: Make, make_judgement: Make
) -> None:
    columns = tails(stepped(0.1, 0.6), [0.1] * N)
    for sure, level in ((True, Level.GROUND), (False, Level.WATCH)):
        j = make_judgement(N, SINCE, sure=sure)
        finding, _ = stray(season(columns, told=lambda *_, j=j, **__: j))
        assert finding.level is level


def test_the_limits_of_a_stray_can_be_set(season: Make) -> None:
    craft = Aircraft(limits=Limits(margin_ground_v=0.2))
    finding, _ = stray(season(tails(stepped(0.1, 0.2), [0.1] * N), aircraft=craft))
    assert finding.level is Level.GROUND


def test_now_is_the_last_three_flights_and_never_before_the_change(
    season: Make, make_judgement: Make
) -> None:
    up = [*stepped(0.1, 0.3)[:-4], 0.9, 0.4, 0.5, 0.6]
    for onset, now in ((SINCE, 0.5), (N - 2, 0.55)):
        j = make_judgement(N, onset)
        case = season(tails(up, [0.1] * N), told=lambda *_, j=j, **__: j)
        finding, _ = stray(case)
        assert finding.change.now == pytest.approx(now)


def test_before_is_the_baseline_alone(season: Make) -> None:
    up = [9.0, *stepped(0.1, 0.6)[1:]]
    case = season(tails(up, [0.1] * N), notes=[repaired(1)])
    finding, _ = stray(case)
    assert finding.change.before == pytest.approx(0.1)


def test_where_the_last_three_flights_tell_nothing_nothing_is_told(
    season: Make, make_judgement: Make
) -> None:
    j = make_judgement(N, SINCE)
    up = [*stepped(0.1, 0.6)[:-3], nan, nan, nan]
    finding, found = stray(season(tails(up, [0.1] * N), told=lambda *_, **__: j))
    assert finding is None
    assert found.trends


def test_places_that_stray_more_to_both_sides_ask_for_more(season: Make) -> None:
    """Slower telemetry: elsewhere 0.2 V became 0.4 V. From 0.1 V on 1.5 * 2 * 0.1 = 0.3 V."""
    for now, told in ((0.29, False), (0.31, True)):
        case = season(
            {
                **tails(stepped(0.1, now), [0.1] * N),
                **tails(stepped(0.2, 0.4), stepped(0.2, 0.4), "left wing"),
            }
        )
        finding, _ = stray(case, "left wing")
        assert (finding is not None) is told


@pytest.fixture
def given(season: Make) -> Callable[..., list[Any]]:
    """The parts that the chart of the tail gets."""

    def make(columns: Columns, *others: str) -> list[Any]:
        seen: list[Any] = []

        def told(place: str, **more: Any) -> None:
            seen.append((place, more["parts"], more["first"]))

        case = season(columns, told=told, notes=[repaired(2)])
        assert judge_strays(case, "tail", ["tail", *others], JudgedAcross()) is None
        return seen

    return make


def test_what_all_places_do_alike_is_taken_off(given: Make) -> None:
    """Ratio of the tail 2; elsewhere 4 and 1, whose logarithms' mean is log 2."""
    columns = tails([0.2] * 4, [0.1] * 4)
    columns |= tails([0.4, 0.4, nan, nan], [0.1] * 4, "left wing")
    columns |= tails([0.1, nan, 0.1, nan], [0.1] * 4, "right wing")
    ((place, (part,), first),) = given(columns, "left wing", "right wing")
    assert (place, first, part.name) == ("tail", 2, "tail")
    assert part.at.tolist() == [0, 1, 2, 3]
    assert part.y == pytest.approx([0.0, -log(2), log(2), log(2)])
    assert (part.se.tolist(), part.sigma) == ([0.0] * 4, 0.15)


def test_flights_without_a_stray_are_left_out(given: Make) -> None:
    ((_, (part,), _),) = given(tails([0.2, nan, 0.1], [0.1, 0.1, 0.2]))
    assert part.at.tolist() == [0, 2]
    assert part.y == pytest.approx([log(2), -log(2)])
    assert given(tails([nan, nan], [0.1, 0.1])) == []


@pytest.mark.parametrize(("known", "strays"), [(7, True), (6, False)])
def test_the_stray_decides_where_half_of_the_flights_have_it(
    season: Make, known: int, strays: bool
) -> None:
    up = [nan] * (N - known) + [0.1] * known
    found = contacts(season(tails(up, [0.1] * N)), "tail")
    assert bool(found.trends) is strays


def test_a_silence_is_told_where_nothing_else_is(season: Make) -> None:
    case = season(silences(0.2, 0.2, 0.2, 3.0))
    (found,) = contacts(case, "tail", "left wing").drafts
    assert found.evidence["silence_s"] == 3.0


def test_a_stray_is_told_before_a_silence(season: Make) -> None:
    columns = tails(stepped(0.1, 0.6), [0.1] * N)
    case = season({**columns, **silences(*[0.2] * 10, 9.0, 0.2, 0.2, 0.2)})
    (found,) = contacts(case, "tail").drafts
    assert found.change is not None
