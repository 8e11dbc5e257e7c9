"""The numbers in findings across flights, against the truth that was planted in the season."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import stats

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.across import judge
from telemetry.results import Change, Finding, History, Level
from telemetry.trends.counts import judge_counts

Make = Callable[..., Any]

CRAFT = Aircraft(
    name="Tern (invented)",
    bus="bus",
    nodes=(
        Node(name="left wing", fed_from="bus", mirror="right wing", servos=4),
        Node(name="right wing", fed_from="bus", servos=4),
        Node(name="tail", fed_from="bus", servos=3),
    ),
)


def step(before: float, now: float, since: int = 11) -> Callable[[int], float]:
    return lambda k: now if k >= since else before


def wobble(seed: int, size: float) -> Callable[[int], float]:
    x = size * np.random.default_rng(seed).standard_normal(64)
    return lambda k: float(x[k])


def only(history: History, code: str) -> tuple[Finding, Change]:
    (found,) = [f for f in history.findings if f.code == code]
    assert found.change is not None
    return found, found.change


def test_numbers_of_a_rising_servo(make_season: Make) -> None:
    # 10 % more of a node of four servos: 40 % of one's share.
    flights = make_season(41, scatter=0.003, current={"left wing": step(1.0, 1.1)})
    found, change = only(judge(flights, aircraft=CRAFT), "servo-current-rising")
    assert found.since_flight == "11"
    # A servo that draws more shows less of it in the air than in a stir: the planted factor, which
    # is the same in both, comes out a little high.
    assert 38.0 < change.rise < 54.0
    assert change.low < 40.0 < change.high
    assert change.limit == 60.0
    assert (change.unit, change.rise_unit) == ("A", "% of one servo's share")
    # A finding in 400 healthy flights, later fewer: (14 + 14 ln(100 / 14)) / 400 in a book of 100.
    assert change.false_alarm == pytest.approx(0.0986, abs=1e-4)


def test_a_rising_lead_keeps_its_numbers_in_milliohm(make_season: Make) -> None:
    flights = make_season(42, scatter=0.003, lead={"tail": step(0.0, 20.0)})
    found, change = only(judge(flights, aircraft=CRAFT), "branch-resistance-rising")
    assert (change.unit, change.rise_unit) == ("mOhm", "mOhm")
    assert change.before == pytest.approx(45.0, abs=2.0)
    assert change.now == pytest.approx(65.0, abs=2.0)
    assert change.rise == pytest.approx(20.0, abs=1.5)
    assert change.limit == 25.0
    assert found.evidence["rise_pct"] == pytest.approx(100 * 20 / 45, abs=4.0)


def test_a_growing_lead_is_dated_ahead(make_season: Make) -> None:
    # 1.5 mOhm a flight from flight 9: 18 in flight 20, and 25 in the fifth one after it.
    flights = make_season(43, scatter=0.003, lead={"tail": lambda k: 1.5 * max(0, k - 8)})
    _, change = only(judge(flights, aircraft=CRAFT), "branch-resistance-rising")
    assert change.per_flight == pytest.approx(1.5, abs=0.15)
    assert change.per_flight_low is not None
    assert change.per_flight_high is not None
    assert change.per_flight_low < 1.5 < change.per_flight_high
    assert change.flights_to_limit_low is not None
    assert change.flights_to_limit is not None
    assert change.flights_to_limit_high is not None
    assert change.flights_to_limit_low <= 5 <= change.flights_to_limit_high
    assert 3 <= change.flights_to_limit <= 6


def test_a_fitted_lead_resistance_is_the_one_of_its_own_current(make_season: Make) -> None:
    # The fit of the own current says 20 mOhm more, the apparent one nothing; blocks agree with the
    # first.
    a = wobble(1, 0.3)
    flights = make_season(
        44,
        scatter=0.003,
        lead={"tail": step(0.0, 20.0)},
        features={
            ("tail", "branch_mohm"): lambda k: 45.0 + a(k) + step(0.0, 20.0)(k),
            ("tail", "apparent_mohm"): lambda k: 15.0 + a(k),
        },
    )
    found, change = only(judge(flights, aircraft=CRAFT), "branch-resistance-rising")
    assert change.rise == pytest.approx(20.0, abs=1.0)
    assert found.evidence["measured"] == "own current"


def test_numbers_of_a_servo_that_heats(make_season: Make) -> None:
    # Its current rises by a third from take-off to landing: by a sixth between the halves' means.
    flights = make_season(45, scatter=0.005, warm={"left wing": step(0.0, 1 / 3)})
    found, change = only(judge(flights, aircraft=CRAFT), "servo-heating")
    assert found.evidence["servos"] == 4
    assert found.evidence["servo_share_pct"] == pytest.approx(change.rise, abs=1e-6)
    assert found.evidence["ramp_pct"] == pytest.approx(change.rise / 4, rel=1e-6)
    # Of the moving part alone, 1.6 of about 1.84 A: 29 % from cold to warm.
    assert found.evidence["ramp_pct"] == pytest.approx(100 * 1.6 / 1.84 / 3, rel=0.25)


def pair(
    share: Callable[[int], float], **more: Callable[[int], float]
) -> dict[tuple[str, str], Callable[[int], float]]:
    return {
        ("pack 1", "share"): share,
        ("pack 2", "share"): lambda k: 1.0 - share(k),
        **{(f"pack {name[-1]}", name[:-2]): f for name, f in more.items()},
    }


def test_numbers_of_a_pack_that_gave_nothing(make_season: Make) -> None:
    a = wobble(6, 0.02)
    out = {9, 20}
    flights = make_season(46, features=pair(lambda k: 0.0 if k in out else 0.5 + a(k)))
    (found,) = [f for f in judge(flights, aircraft=CRAFT).findings if f.code == "pack-out"]
    assert (found.place, found.since_flight, found.level) == ("pack 1", "9", Level.GROUND)
    assert found.evidence["flights_with"] == 2
    assert found.evidence["flights_since"] == 12  # flights 9 to 20
    assert found.evidence["share"] == 0.0
    assert found.evidence["usual_share"] == pytest.approx(0.5, abs=0.02)


def test_numbers_of_a_share_that_moved(make_season: Make) -> None:
    a = wobble(7, 0.01)
    flights = make_season(47, features=pair(lambda k: step(0.52, 0.30, 12)(k) + a(k)))
    found, change = only(judge(flights, aircraft=CRAFT), "pack-share")
    assert (found.place, found.level, found.since_flight) == ("pack 1", Level.WATCH, "12")
    assert change.unit == "%"
    assert change.before == pytest.approx(52.0, abs=1.5)
    assert change.now == pytest.approx(30.0, abs=1.5)


@pytest.mark.parametrize(("now", "told"), [(0.42, False), (0.30, True)])
def test_a_share_within_15_points_of_a_half_is_none(
    make_season: Make, now: float, told: bool
) -> None:
    a = wobble(8, 0.005)
    flights = make_season(48, features=pair(lambda k: step(0.5, now, 12)(k) + a(k)))
    codes = {f.code for f in judge(flights, aircraft=CRAFT).findings}
    assert ("pack-share" in codes) is told


def test_numbers_of_a_counter(make_season: Make) -> None:
    a = wobble(9, 0.004)
    flights = make_season(
        49, features={("bus", "counter_ratio"): lambda k: step(1.02, 1.20)(k) + a(k)}
    )
    found, change = only(judge(flights, aircraft=CRAFT), "capacity-mismatch")
    assert found.since_flight == "11"
    assert change.rise == pytest.approx(100 * math.log(1.20 / 1.02), abs=3.0)


def stray(before_v: float, now_v: float) -> dict[tuple[str, str], Callable[[int], float]]:
    a, b = wobble(11, 0.003), wobble(12, 0.003)
    return {
        ("tail", "drop_tail_v"): lambda k: step(before_v, now_v, 12)(k) + a(k),
        ("tail", "drop_tail_other_v"): lambda k: before_v + b(k),
        ("left wing", "drop_tail_v"): lambda k: before_v + b(k),
        ("left wing", "drop_tail_other_v"): lambda k: before_v + a(k),
    }


@pytest.mark.parametrize(
    ("before_v", "now_v", "level"),
    [
        (0.09, 0.14, None),  # by 0.05 V: within a few steps of most sensors
        (0.09, 0.20, Level.WATCH),
        (0.20, 0.28, None),  # by 0.08 V, but not by half
        (0.20, 0.36, Level.WATCH),
        (0.09, 0.60, Level.GROUND),  # over half a volt, the margin that grounds
    ],
)
def test_a_drop_that_strays_by_0_06_v_and_half_as_much_again(
    make_season: Make, before_v: float, now_v: float, level: Level | None
) -> None:
    found = judge(make_season(50, features=stray(before_v, now_v)), aircraft=CRAFT).findings
    assert [(f.code, f.place, f.level) for f in found] == (
        [] if level is None else [("contact-intermittent", "tail", level)]
    )
    if found:
        change = found[0].change
        assert change is not None
        assert change.before == pytest.approx(before_v, abs=0.005)
        assert change.now == pytest.approx(now_v, abs=0.005)


def test_counted_falls_are_a_negative_binomial_of_what_was_seen_before() -> None:
    # Ten flights without a fall, then 3 and 4. Of the places beside it nothing is known.
    counts = [0] * 10 + [3, 4]
    found = judge_counts(counts, [], first=0, run=400.0)
    assert found is not None
    assert (found.count, found.flights, found.since) == (7, 2, 10)
    # One every other flight all along is that place's habit.
    assert judge_counts([1, 0] * 8, [], first=0, run=400.0) is None
    # What all places show in the same flights is no place's own.
    assert judge_counts(counts, [counts, counts, counts], first=0, run=400.0) is None
    # A single fall in a single flight never tells.
    assert judge_counts([0] * 19 + [1], [], first=0, run=400.0) is None
    # More flights seen without a fall make the same burst less likely by chance.
    fewer = judge_counts([0] * 5 + [3, 4], [], first=0, run=400.0)
    assert fewer is None or fewer.p > found.p
    # Its chance is no more than that of a Poisson rate at the upper end of what was seen.
    assert found.p > float(stats.poisson.sf(6, 2 * found.usual)) > 0.0
