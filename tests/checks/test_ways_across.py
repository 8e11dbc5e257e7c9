"""Ways to the bus, leads known by the whole current, units that fall silent: seasons by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node, Pack
from telemetry.checks.across import judge
from telemetry.checks.aircraft_history import JudgedAcross
from telemetry.checks.packs.dividing import divider_part, judge_way, log_ratio
from telemetry.results import Finding, History, Level
from telemetry.trends.evidence import Judgement
from telemetry.trends.measures import Blocks, Measures
from telemetry.trends.table import FeatureTable
from telemetry.trends.turns import no_sets

Make = Callable[..., Any]

CRAFT = Aircraft(
    name="Tern (invented)",
    bus="bus",
    nodes=tuple(Node(name=n, fed_from="bus") for n in ("left wing", "right wing", "tail")),
)
PAIR = CRAFT.model_copy(update={"packs": (Pack(name="pack 1"), Pack(name="pack 2"))})


def only(history: History, code: str) -> Finding:
    found = [f for f in history.findings if f.code == code]
    assert len(found) == 1, [(f.code, f.place) for f in history.findings]
    return found[0]


def test_small_offset_and_a_lead_are_told_apart_by_the_slope(make_season: Make) -> None:
    """25 mOhm more in a lead: the drop per amp rises within each flight, and hardly at rest."""
    flights = make_season(26, lead={"tail": lambda k: 25.0 if k >= 11 else 0.0})
    history = judge(flights, aircraft=CRAFT)
    assert [(f.code, f.place) for f in history.findings] == [("branch-resistance-rising", "tail")]


def two_packs(
    flights: list[Measures], mohm: Callable[[int], tuple[float, float]]
) -> list[Measures]:
    """The same with the total divided between two packs of unequal voltage, by Kirchhoff."""
    out = []
    for k, m in enumerate(flights, 1):
        assert m.air is not None
        one, two = mohm(k)
        total = m.air.amps["bus"]
        # Packs 40 mV apart: the fuller one gives 40 mV / (R1 + R2) more, whatever the load.
        first = (two * total + 40.0 * np.sin(k)) / (one + two)
        amps = {**m.air.amps, "pack 1": first, "pack 2": total - first}
        out.append(replace(m, air=replace(m.air, amps=amps)))
    return out


def test_way_of_a_pack_is_told_by_how_changes_of_load_divide(make_season: Make) -> None:
    """Kirchhoff: 32 for 25 mOhm is 28 % more, whatever the two voltages do to the share."""
    flights = two_packs(make_season(27), lambda k: (25.0, 32.0 if k >= 10 else 25.0))
    history = judge(flights, aircraft=PAIR)
    found = only(history, "source-resistance-rising")
    assert (found.place, found.level, found.since_flight) == ("pack 2", Level.WATCH, "10")
    assert found.change is not None
    assert found.change.rise == pytest.approx(28.0, abs=4.0)
    assert judge(flights[:9], aircraft=PAIR).findings == ()


def test_current_of_the_only_pack_is_that_of_the_whole(make_season: Make) -> None:
    """Nothing but one pack reports a current: the leads are judged by the whole."""
    craft = Aircraft(packs=(Pack(name="pack 1"),), nodes=CRAFT.nodes, bus="bus")
    made = []
    for m in make_season(28, lead={"tail": lambda k: 40.0 if k >= 9 else 0.0}):
        parts = {}
        for part in ("stir", "air"):
            blocks = getattr(m, part)
            parts[part] = replace(blocks, amps={"pack 1": blocks.amps["bus"]})
        made.append(replace(m, features=(), **parts))
    found = only(judge(made, aircraft=craft), "branch-resistance-rising")
    assert (found.place, found.level) == ("tail", Level.WATCH)
    assert found.evidence["measured"] == "apparent, against the whole current"


def test_silence_of_one_unit_is_news_only_where_it_stands_out_alone(make_season: Make) -> None:
    """And only where voltage or the whole current shows that the place was off."""
    told = {
        ("tail", "silence_off"): lambda k: float(k == 12),
        ("tail", "silence_s"): lambda k: 1.8 if k == 12 else 0.5 + 0.02 * (k % 5),
        ("left wing", "silence_s"): lambda _k: 0.6,
        ("tail", "silence_p"): lambda _k: 1e-6,
        ("left wing", "silence_p"): lambda _k: 1e-6,
    }
    flights = make_season(29, features=told)
    found = only(judge(flights[:12], aircraft=CRAFT), "contact-intermittent")
    assert (found.place, found.level, found.since_flight) == ("tail", Level.WATCH, "12")
    assert "1.8 s" in found.title
    assert judge(flights[:11], aircraft=CRAFT).findings == ()
    unseen = {**told, ("tail", "silence_off"): lambda _k: 0.0}
    assert judge(make_season(29, features=unseen)[:12], aircraft=CRAFT).findings == ()
    # As long before: nothing new.
    usual = {**told, ("tail", "silence_s"): lambda k: 1.8 if k in (2, 12) else 0.5}
    assert judge(make_season(29, features=usual)[:12], aircraft=CRAFT).findings == ()
    # As long by chance, for the values hardly moved.
    quiet = {**told, ("tail", "silence_p"): lambda _k: 0.2}
    assert judge(make_season(29, features=quiet)[:12], aircraft=CRAFT).findings == ()
    # Another unit silent in the same flight takes nothing from it: this one was seen to be off.
    both = {**told, ("left wing", "silence_s"): lambda k: 2.0 if k == 12 else 0.6}
    assert only(judge(make_season(29, features=both)[:12], aircraft=CRAFT), found.code)


# [1, -3, 3, -1] is at right angles to every parabola (a third difference); three of them in a row,
# and the first less the second, are so to one another too: squares 60 and 40.
LOAD = np.array([1.0, -3.0, 3.0, -1.0] * 3)
ODD = np.array([1.0, -3.0, 3.0, -1.0, -1.0, 3.0, -3.0, 1.0, 0.0, 0.0, 0.0, 0.0])
SLOW = 30.0 + 0.1 * np.arange(12) - 0.02 * np.arange(12) ** 2


class TestLogRatio:
    def test_of_changes_whatever_the_slow_shares_are(self) -> None:
        for size in (1.0, 0.05):
            found = log_ratio(SLOW + 2.0 * size * LOAD, 30.0 - SLOW / 8 + 0.5 * size * LOAD)
            assert found == pytest.approx((np.log(4.0), 0.0), abs=1e-6)

    def test_slope_is_the_main_axis_and_its_error_that_of_the_correlation(self) -> None:
        # xx = xy = 60, yy = 150: ((60 - 150) + hypot(90, 120)) / 120 = 1/2; squared 60 / 150,
        # (1 - 0.4) / 0.4 over 12 - 4.
        bottom = SLOW + LOAD + 1.5 * ODD
        found = log_ratio(SLOW + LOAD, bottom)
        assert found == pytest.approx((np.log(0.5), np.sqrt(1.5 / 8)))
        turned = log_ratio(bottom, SLOW + LOAD)
        assert turned == pytest.approx((np.log(2.0), np.sqrt(1.5 / 8)))

    @pytest.mark.parametrize(("odd", "told"), [(1.88, False), (1.86, True)])
    def test_currents_that_hardly_move_together_tell_nothing(self, odd: float, told: bool) -> None:
        # 1 / (1 + odd^2 40 / 60) is 0.298 or 0.302 of the variance.
        assert (log_ratio(SLOW + LOAD, SLOW + LOAD + odd * ODD) is not None) is told

    def test_currents_that_move_against_each_other_tell_nothing(self) -> None:
        assert log_ratio(SLOW + LOAD, SLOW - LOAD) is None
        assert log_ratio(SLOW + LOAD, SLOW + ODD) is None

    @pytest.mark.parametrize(("n", "told"), [(9, False), (10, True)])
    def test_ten_stretches_at_the_least(self, n: int, told: bool) -> None:
        bottom = SLOW + LOAD
        bottom[n:] = np.nan
        assert (log_ratio(SLOW + 2 * LOAD, bottom) is not None) is told
        assert (log_ratio(bottom, SLOW + 2 * LOAD) is not None) is told

    def test_none_without_any(self) -> None:
        assert log_ratio(SLOW, np.full(12, np.nan)) is None

    @pytest.mark.parametrize("turned", [False, True])
    @pytest.mark.parametrize(("small_a", "told"), [(0.8, False), (0.81, True)])
    def test_a_pack_below_8_percent_of_the_load_hardly_conducts(
        self, small_a: float, told: bool, turned: bool
    ) -> None:
        # In 13 of 24 stretches, whose total of 10 A is the median, the one pack gives 8 % or a bit
        # more: where they are left out, fewer than half remain.
        top, bottom = (x + 0.1 * np.r_[LOAD, LOAD] for x in (20.0, 12.0))
        top[:13], bottom[:13] = 10.0 - small_a, small_a
        currents = (bottom, top) if turned else (top, bottom)
        found = log_ratio(*currents)
        assert (found is not None) is told

    def test_half_of_the_stretches_are_enough(self) -> None:
        for left_out, told in ((12, True), (13, False)):
            top, bottom = (5.0 + x * np.r_[LOAD, LOAD] for x in (0.2, 0.1))
            bottom[:left_out] = 0.1
            assert (log_ratio(top, bottom) is not None) is told


class TestDivider:
    def test_resistances_are_the_inverse_of_the_currents(self, make_flight: Make) -> None:
        blocks = Blocks(block_s=12.0, amps={"pack 1": SLOW + LOAD, "pack 2": SLOW + 3.0 * LOAD})
        table = FeatureTable([make_flight(), make_flight(air=blocks)])
        part = divider_part(table, "pack 1", "pack 2")
        assert part is not None
        # Pack 2 takes three times as much of each change: pack 1's way has three times the ohms.
        assert (part.at.tolist(), part.sigma) == ([1], 0.03)
        assert (part.y[0], part.se[0]) == pytest.approx((np.log(3.0), 0.0), abs=1e-6)

    def test_none_where_one_of_them_is_not_measured(self, make_flight: Make) -> None:
        one = make_flight(air=Blocks(block_s=12.0, amps={"pack 1": SLOW + LOAD}))
        assert divider_part(FeatureTable([one]), "pack 1", "pack 2") is None
        assert divider_part(FeatureTable([one]), "pack 2", "pack 1") is None
        still = Blocks(block_s=12.0, amps={"pack 1": SLOW + LOAD, "pack 2": SLOW - LOAD})
        assert divider_part(FeatureTable([make_flight(air=still)]), "pack 1", "pack 2") is None


class TestJudgeWay:
    @pytest.fixture
    def told(
        self, make_flight: Make, make_case: Make, make_judgement: Make
    ) -> Callable[..., JudgedAcross]:
        blocks = Blocks(block_s=12.0, amps={"pack 1": SLOW + LOAD, "pack 2": SLOW + LOAD})

        def told(now: float | None, **more: Any) -> JudgedAcross:
            def chart(place: str, **asked: Any) -> Judgement | None:
                assert (place, asked["first"], asked["sign"]) == ("pack 1", 2, 1.0)
                assert asked["logarithmic"] is True
                return None if now is None else make_judgement(now=now, **more)

            found = JudgedAcross()
            case = make_case([make_flight(air=blocks)] * 8, told=chart)
            judge_way(case, "pack 1", "pack 2", no_sets(8), 2, found)
            return found

        return told

    @pytest.mark.parametrize(
        ("now", "sure", "level"),
        [
            (0.1499, True, None),
            (0.15, False, Level.WATCH),
            (0.9999, True, Level.WATCH),
            (1.0, False, Level.WATCH),
            (1.0, True, Level.GROUND),
        ],
    )
    def test_watched_from_15_and_grounds_from_100_percent(
        self, told: Callable[..., JudgedAcross], now: float, sure: bool, level: Level | None
    ) -> None:
        found = told(now, sure=sure)
        assert [f.level for f in found.drafts] == ([] if level is None else [level])
        (trend,) = found.trends
        assert (trend.watch, trend.ground, trend.unit) == (15.0, 100.0, "%")
        assert trend.record().value[-1] == pytest.approx(100 * now)
        if found.drafts:
            change = found.drafts[0].change
            assert change is not None
            assert (change.rise, change.rise_unit) == (pytest.approx(100 * now), "%")
            assert change.limit == (100.0 if level is Level.WATCH else None)
            assert found.drafts[0].evidence["compared_with"] == "pack 2"
            assert f"{100 * now:.0f} %" in found.drafts[0].title

    def test_nothing_that_is_not_established(self, told: Callable[..., JudgedAcross]) -> None:
        assert told(5.0, onset=None).drafts == []
        assert len(told(5.0, onset=None).trends) == 1
        assert told(None) == JudgedAcross()
