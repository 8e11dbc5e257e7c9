"""The rules on packs: what the charts are given, and what follows from what they say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import hypot, log
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Limits, Node, Pack
from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.draft import FindingDraft
from telemetry.checks.packs import across as packs
from telemetry.checks.packs import rising, sets
from telemetry.results import Level, NoteMark, NotJudged
from telemetry.trends.evidence import Judgement
from telemetry.trends.measures import Blocks, Measures
from telemetry.trends.parts import EvidencePart
from telemetry.trends.turns import no_sets
from telemetry.trends.warmth import ACTIVATION_KJ, ACTIVATION_SD_KJ, YEAR_SD, coldness

Make = Callable[..., Any]
Told = Callable[..., Judgement | None]
PAIR = Aircraft(bus="bus", packs=(Pack(name="pack 1"), Pack(name="pack 2")))
ONE = Aircraft(bus="bus", packs=(Pack(name="pack 1"),))
RISING = "source-resistance-rising"


class Charts:
    """Says what it is told to, by the name of a chart's last part; keeps what was asked."""

    def __init__(self, **told: Judgement | Callable[[float], Judgement | None] | None) -> None:
        self.told = told
        self.asked: list[dict[str, Any]] = []

    def __call__(self, place: str, **asked: Any) -> Judgement | None:
        self.asked.append({"place": place, **asked})
        found = self.told.get(asked["parts"][-1].name)
        return found(asked["sign"]) if callable(found) else found

    @property
    def part(self) -> EvidencePart:
        """The one part of the one chart that was asked for."""
        ((part,),) = (a["parts"] for a in self.asked)
        assert isinstance(part, EvidencePart)
        return part


def only(found: JudgedAcross) -> FindingDraft:
    (finding,) = found.drafts
    assert finding.change is not None
    return finding


def note(place: str, before: int) -> NoteMark:
    return NoteMark(kind="changed", place=place, text="", date="2026-05-01", before=before)


class TestWhichPacks:
    def test_of_the_profile_and_then_of_the_logs(self, make_case: Make, make_flight: Make) -> None:
        seen = {("pack 3", "share"): 0.1, ("pack 2", "share"): 0.5, ("bus", "share"): 1.0}
        case = make_case([make_flight(seen)], aircraft=PAIR)
        assert packs.packs_of(case) == ["pack 1", "pack 2", "pack 3"]
        assert packs.packs_of(make_case([make_flight()])) == []

    def test_standby_packs_share_nothing(self, make_case: Make, make_flight: Make) -> None:
        craft = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2", role="standby")))
        case = make_case([make_flight({("pack 3", "share"): 0.1})], aircraft=craft)
        assert packs.shared_packs(case) == ["pack 1", "pack 3"]

    def first(self, case: AircraftHistory, pack: str) -> int:
        return packs.first_of_pack(case, pack, sets.sets_of(case, [pack], [pack]))

    def test_since_this_very_pack_was_fitted(self, make_case: Make, make_flight: Make) -> None:
        labels = ["B", "A", "C", "B", "B"]
        flights = [make_flight(labels={"pack 1": x}) for x in labels]
        assert self.first(make_case(flights), "pack 1") == 3
        assert self.first(make_case(flights), "pack 2") == 0
        assert self.first(make_case(flights[3:]), "pack 1") == 0
        assert self.first(make_case(flights, notes=[note("pack 1", 4)]), "pack 1") == 4
        assert self.first(make_case(flights, notes=[note("pack 1", 1)]), "pack 1") == 3

    def test_packs_that_take_turns_have_each_its_own_past(
        self, make_case: Make, make_flight: Make
    ) -> None:
        flights = [make_flight(labels={"pack 1": x}) for x in "ABABAB"]
        assert self.first(make_case(flights), "pack 1") == 0
        assert self.first(make_case(flights, notes=[note("pack 1", 2)]), "pack 1") == 2
        # One that was replaced for good, and not by turns.
        flights = [make_flight(labels={"pack 1": x}) for x in "AAABBB"]
        assert self.first(make_case(flights), "pack 1") == 3


class TestSource:
    """Resistance of 30 mOhm, with its standard error of 1.5."""

    MOHM = (30.0, 30.0 - 1.96 * 1.5, 30.0 + 1.96 * 1.5)

    def run(
        self, case: AircraftHistory, other: str | None = None, seen_at: str | None = None
    ) -> JudgedAcross:
        found = JudgedAcross()
        one = no_sets(len(case.flights))
        first = case.first("pack 1", *([other] if other else []))
        if other is not None:
            rising.judge_against(case, "pack 1", other, one, first, found)
        else:
            rising.judge_alone(case, "pack 1", one, first, found, seen_at=seen_at)
        return found

    def test_against_the_other_pack_cold_is_common(
        self, make_case: Make, make_flight: Make
    ) -> None:
        charts = Charts()
        theirs = (20.0, 20.0 - 1.96, 20.0 + 1.96)
        row = {("pack 1", "source_mohm"): self.MOHM, ("pack 2", "source_mohm"): theirs}
        flights = [make_flight(row), make_flight({("pack 1", "source_mohm"): 30.0})]
        case = make_case(flights, aircraft=PAIR, told=charts, notes=[note("pack 2", 1)])
        found = self.run(case, "pack 2")
        assert (found.trends, found.drafts) == ([], [])
        assert [u.reason for u in found.not_judged] == [NotJudged.TOO_FEW_FLIGHTS]
        part = charts.part
        assert (part.at.tolist(), part.sigma, part.design) == ([0], 0.08, None)
        assert (part.y[0], part.se[0]) == pytest.approx((log(1.5), hypot(0.05, 0.05)))
        (asked,) = charts.asked
        assert (asked["place"], asked["first"], asked["logarithmic"]) == ("pack 1", 1, True)

    def test_alone_temperature_is_taken_out(self, make_case: Make, make_flight: Make) -> None:
        charts = Charts()
        row = {("pack 1", "source_mohm"): self.MOHM}
        warmth = [10.0, None, *([20.0] * 8), 30.0]
        flights = [make_flight(row, temperature_c=c) for c in warmth]
        self.run(make_case(flights, aircraft=ONE, told=charts, notes=[note("pack 2", 1)]))
        part = charts.part
        assert part.sigma == 0.10
        assert part.y == pytest.approx([log(30.0)] * 11)
        # Where the temperature is missing, a resistance is as uncertain as a day is warm.
        assert part.se == pytest.approx([0.05, hypot(0.05, 0.10), *([0.05] * 9)])
        assert part.design is not None
        assert part.slope is not None
        assert part.slope_sd is not None
        cold = part.design[:, 0]
        assert cold[0] == pytest.approx(coldness(np.array([10.0]))[0])
        assert cold[2:10].tolist() == [0.0] * 8
        assert cold[1] == pytest.approx((cold[0] + cold[10]) / 10)
        told = (part.slope.tolist(), part.slope_sd.tolist())
        assert told == ([ACTIVATION_KJ], [ACTIVATION_SD_KJ])
        assert charts.asked[0]["first"] == 0

    def test_without_any_temperature(self, make_case: Make, make_flight: Make) -> None:
        charts = Charts()
        row = {("pack 1", "source_mohm"): self.MOHM}
        days = [None, None, None, None, "2026-01-01", "2026-07-02"]
        flights = [make_flight(row, start=day) for day in days]
        self.run(make_case(flights, aircraft=ONE, told=charts))
        part = charts.part
        # Days are as cold as they are: one value each; flights without a date go three by three.
        assert part.at.tolist() == [2, 3, 4, 5]
        assert part.sigma == pytest.approx(hypot(0.10, 0.10 / 3**0.5))
        assert part.slope_sd is not None
        assert part.slope_sd.tolist() == [YEAR_SD, YEAR_SD]
        assert part.design is not None
        assert part.design[:2].tolist() == [[0.0, 0.0], [0.0, 0.0]]
        assert part.design[2, 1] == pytest.approx(-part.design[3, 1], abs=0.01)

    def test_no_resistance_is_negative_or_surer_of_itself_than_it_is(
        self, make_case: Make, make_flight: Make
    ) -> None:
        charts = Charts()
        rows = [-5.0, 0.0, (0.5, 0.5 - 3.92, 0.5 + 3.92), 2.0]
        flights = [make_flight({("pack 1", "source_mohm"): r}, temperature_c=20.0) for r in rows]
        self.run(make_case(flights, aircraft=ONE, told=charts))
        # Of 0.5 the error of 2 is taken as a whole one.
        assert charts.part.at.tolist() == [2, 3]
        assert charts.part.y == pytest.approx([log(0.5), log(2.0)])
        assert charts.part.se.tolist() == [1.0, 0.0]

    def test_not_judged_where_nothing_tells(self, make_case: Make, make_flight: Make) -> None:
        case = make_case([make_flight()] * 2, aircraft=ONE, told=Charts())
        assert [u.why for u in self.run(case).not_judged] == [
            "pack 1: no flight tells its resistance"
        ]
        assert self.run(case, seen_at="bus") == JudgedAcross()

    @pytest.mark.parametrize(
        ("now", "sure", "level"),
        [
            (0.1999, True, None),
            (0.2, False, Level.WATCH),
            (0.9999, True, Level.WATCH),
            (1.0, False, Level.WATCH),
            (1.0, True, Level.GROUND),
        ],
    )
    def test_watched_from_20_and_grounds_from_100_percent(
        self,
        make_case: Make,
        make_flight: Make,
        make_judgement: Make,
        now: float,
        sure: bool,
        level: Level | None,
    ) -> None:
        mohm = [99.0, 30.0, 30.0, 32.0, 32.0, 70.0, 40.0, 42.0, 44.0]
        flights = [make_flight({("pack 1", "source_mohm"): x}, temperature_c=20.0) for x in mohm]
        judgement = make_judgement(9, 5, now, sure=sure, first=1)
        case = make_case(flights, aircraft=ONE, told=Charts(source_mohm=judgement))
        found = self.run(case)
        (trend,) = found.trends
        assert (trend.watch, trend.ground, trend.unit) == (20.0, 100.0, "%")
        assert trend.record().value[-1] == pytest.approx(100 * now)
        if level is None:
            assert found.drafts == []
            return
        finding = only(found)
        change = finding.change
        assert change is not None
        assert (finding.code, finding.level, finding.since_flight) == (RISING, level, "6")
        assert f"up by {100 * now:.0f} %" in finding.title
        assert change.rise == pytest.approx(100 * now)
        assert change.limit == (100.0 if level is Level.WATCH else None)
        # Mean of the baseline, and of the last three flights.
        assert (change.before, change.now) == (31.0, 42.0)

    def test_level_now_is_of_flights_with_the_change_alone(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        mohm = [30.0, 30.0, 30.0, 40.0, 42.0]
        flights = [
            make_flight(
                {("pack 1", "source_mohm"): x},
                labels={"pack 1": "B2" if day == 1 else "A7"},
                temperature_c=20.0,
                start=f"2026-05-0{day}",
            )
            for day, x in enumerate(mohm, 1)
        ]
        charts = Charts(source_mohm=make_judgement(5, 3, 0.4))
        finding = only(self.run(make_case(flights, aircraft=ONE, told=charts)))
        assert finding.change is not None
        assert finding.change.now == 41.0
        assert "pack 1 (A7)" in finding.title
        assert finding.evidence["compared_with"] == "its own earlier flights, temperature taken out"

    def test_seen_at_the_bus(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        row = {("bus", "source_mohm"): 50.0, ("pack 1", "source_mohm"): 9.0}
        charts = Charts(source_mohm=make_judgement(now=0.4))
        finding = only(
            self.run(
                make_case(
                    [
                        make_flight(row, temperature_c=20.0, start=f"2026-05-0{d}")
                        for d in range(1, 9)
                    ],
                    aircraft=ONE,
                    told=charts,
                ),
                seen_at="bus",
            )
        )
        assert finding.change is not None
        assert (finding.place, finding.change.before, finding.change.now) == ("pack 1", 50.0, 50.0)
        assert charts.part.y == pytest.approx([log(50.0)] * 8)
        assert finding.title.endswith("with its way to bus")

    def test_not_established(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        row = {("pack 1", "source_mohm"): self.MOHM, ("pack 2", "source_mohm"): 20.0}
        charts = Charts(source_mohm=make_judgement(onset=None, now=5.0))
        found = self.run(make_case([make_flight(row)] * 8, aircraft=PAIR, told=charts), "pack 2")
        assert (len(found.trends), found.drafts) == (1, [])

    def test_named_is_what_it_is_measured_against(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        row = {("pack 1", "source_mohm"): self.MOHM, ("pack 2", "source_mohm"): 20.0}
        charts = Charts(source_mohm=make_judgement(now=0.5))
        found = self.run(make_case([make_flight(row)] * 8, aircraft=PAIR, told=charts), "pack 2")
        assert only(found).evidence["compared_with"] == "pack 2"
        assert only(found).title.endswith("measured against pack 2")


class TestPath:
    def run(self, make_flight: Make, make_case: Make, charts: Told, **given: Any) -> JudgedAcross:
        known = given.get("known", 8)
        flights = [
            make_flight(
                {("pack 1", "path_mohm"): 20.0} if k < known else {},
                air=Blocks(block_s=12.0, amps={given.get("current", "pack 1"): np.full(8, 2.0)}),
            )
            for k in range(8)
        ]
        found = JudgedAcross()
        aircraft = given.get("aircraft", ONE)
        notes = given.get("notes", ())
        case = make_case(flights, aircraft=aircraft, told=charts, notes=notes)
        rising.judge_path(case, "pack 1", case.first("pack 1"), found)
        return found

    @pytest.mark.parametrize(
        ("now", "sure", "level"),
        [
            (7.99, True, None),
            (8.0, False, Level.WATCH),
            (24.99, True, Level.WATCH),
            (25.0, False, Level.WATCH),
            (25.0, True, Level.GROUND),
        ],
    )
    def test_limits_are_those_of_a_lead(
        self,
        make_case: Make,
        make_flight: Make,
        make_judgement: Make,
        now: float,
        sure: bool,
        level: Level | None,
    ) -> None:
        charts = Charts(path_mohm=make_judgement(now=now, sure=sure))
        found = self.run(make_flight, make_case, charts)
        assert [(f.code, f.level) for f in found.drafts] == (
            [] if level is None else [(RISING, level)]
        )
        if found.drafts:
            assert f"{now:.0f} mOhm more than usual between it and bus" in only(found).title
        assert charts.part.sigma == 2.0
        assert charts.part.y.tolist() == [20.0] * 8

    def test_nothing_that_is_not_established(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        charts = Charts(path_mohm=make_judgement(onset=None, now=50.0))
        assert self.run(make_flight, make_case, charts) == JudgedAcross()
        assert self.run(make_flight, make_case, Charts()) == JudgedAcross()

    @pytest.mark.parametrize(("known", "asked"), [(3, 0), (4, 1)])
    def test_half_of_the_flights_tell_it(
        self, make_case: Make, make_flight: Make, known: int, asked: int
    ) -> None:
        charts = Charts()
        self.run(make_flight, make_case, charts, known=known)
        assert len(charts.asked) == asked

    @pytest.mark.parametrize(("known", "asked"), [(4, 0), (5, 1)])
    def test_flights_since_the_last_note_count(
        self, make_case: Make, make_flight: Make, known: int, asked: int
    ) -> None:
        # Six flights since it: three of them.
        charts = Charts()
        self.run(make_flight, make_case, charts, known=known, notes=[note("pack 1", 2)])
        assert len(charts.asked) == asked

    def test_a_pack_without_a_current_or_that_is_the_root(
        self, make_case: Make, make_flight: Make
    ) -> None:
        charts = Charts()
        self.run(make_flight, make_case, charts, current="tail")
        root = Aircraft(packs=(Pack(name="pack 1"),))
        assert root.root == "pack 1"
        self.run(make_flight, make_case, charts, aircraft=root)
        assert charts.asked == []
        # Where the profile names no root it is the bus.
        self.run(make_flight, make_case, charts, aircraft=Aircraft())
        assert len(charts.asked) == 1


class TestWeak:
    def run(
        self,
        make_case: Make,
        make_flight: Make,
        charts: Told,
        rows: list[tuple[float | None, ...]],
        capacity_mah: float | None = None,
    ) -> JudgedAcross:
        flights = [
            make_flight(
                {("pack 1", f): x for f, x in zip(("end_v", "start_v", "used_mah"), r, strict=True)}
            )
            for r in rows
        ]
        craft = Aircraft(packs=(Pack(name="pack 1", capacity_mah=capacity_mah),))
        found = JudgedAcross()
        case = make_case(flights, aircraft=craft, told=charts)
        packs.judge_weakness(case, "pack 1", no_sets(len(flights)), 0, found)
        return found

    @pytest.mark.parametrize(
        ("capacity_mah", "per_ah"), [(None, 1.0), (4000.0, 1.0), (2000.0, 2.0)]
    )
    def test_start_and_charge_are_covariates(
        self, make_case: Make, make_flight: Make, capacity_mah: float | None, per_ah: float
    ) -> None:
        charts = Charts()
        rows = [(7.6, 8.3, 1000.0), (None, 8.3, 1.0), (7.4, None, 1.0), (7.4, 8.1, 2000.0)]
        rows.append((7.5, 8.1, None))
        self.run(make_case, make_flight, charts, rows, capacity_mah)
        part = charts.part
        assert (part.at.tolist(), part.y.tolist(), part.se.tolist()) == ([0, 3], [7.6, 7.4], [0, 0])
        assert part.sigma == 0.04
        assert part.design is not None
        assert part.slope is not None
        assert part.slope_sd is not None
        assert part.design == pytest.approx(np.array([[0.0, 0.0], [-0.2, 1.0]]), abs=1e-9)
        assert part.slope == pytest.approx([0.9, -0.25 * per_ah])
        assert part.slope_sd == pytest.approx([0.3, 0.2 * per_ah])
        assert (charts.asked[0]["sign"], charts.asked[0]["logarithmic"]) == (-1.0, False)

    @pytest.mark.parametrize(("now", "told"), [(0.1599, False), (0.16, True)])
    def test_told_from_two_percent_on(
        self,
        make_case: Make,
        make_flight: Make,
        make_judgement: Make,
        now: float,
        told: bool,
    ) -> None:
        # Of 8 V in the mean: 0.16 V.
        rows = [(7.5, 8.3, 1000.0), (8.5, 8.3, 1000.0)] * 4
        charts = Charts(end_v=make_judgement(now=now, sure=True))
        found = self.run(make_case, make_flight, charts, rows)
        assert bool(found.drafts) is told
        if told:
            finding = only(found)
            assert (finding.code, finding.level) == ("pack-weak", Level.WATCH)
            assert finding.change is not None
            assert finding.change.rise == -now
            assert f"{now:.2f} V lower" in finding.title

    def test_nothing(self, make_case: Make, make_flight: Make, make_judgement: Make) -> None:
        charts = Charts(end_v=make_judgement(onset=None, now=5.0))
        rows = [(7.5, 8.3, 1000.0)] * 8
        found = self.run(make_case, make_flight, charts, rows)
        assert (found.drafts, found.not_judged) == ([], [])
        assert [(x.code, x.place) for x in found.looked] == [("pack-weak", "pack 1")]
        found = self.run(make_case, make_flight, Charts(), rows)
        assert (found.drafts, found.looked) == ([], [])
        assert [u.reason for u in found.not_judged] == [NotJudged.TOO_FEW_FLIGHTS]
        found = self.run(make_case, make_flight, Charts(), [(None, None, None)] * 3)
        assert (found.drafts, found.looked) == ([], [])
        assert [u.reason for u in found.not_judged] == [NotJudged.UNLOGGED]


class TestShare:
    def run(
        self,
        make_case: Make,
        flights: list[Measures],
        charts: Told,
        *,
        points: float = 12.5,
        notes: list[NoteMark] | None = None,
    ) -> JudgedAcross:
        craft = PAIR.model_copy(update={"limits": Limits(share_points=points)})
        found = JudgedAcross()
        case = make_case(flights, aircraft=craft, told=charts, notes=notes or ())
        one = no_sets(len(flights))
        packs.judge_share(case, ("pack 1", "pack 2"), one, case.first("pack 1", "pack 2"), found)
        return found

    def test_voltages_at_rest_are_a_covariate(self, make_case: Make, make_flight: Make) -> None:
        charts = Charts()
        flights = [
            make_flight({("pack 1", "share"): 0.5, ("pack 1", "rest_v"): 8.0}),  # not known: 0
            make_flight(
                {("pack 1", "share"): 0.6, ("pack 1", "rest_v"): 8.1, ("pack 2", "rest_v"): 8.0}
            ),
            make_flight({("pack 1", "rest_v"): 8.1, ("pack 2", "rest_v"): 7.0}),
        ]
        self.run(make_case, flights, charts, notes=[note("pack 2", 1)])
        first, second = charts.asked
        part = first["parts"][0]
        assert (part.at.tolist(), part.y.tolist(), part.se.tolist()) == ([0, 1], [0.5, 0.6], [0, 0])
        assert (part.sigma, part.weight) == (0.06, 6.0)
        assert part.design == pytest.approx(np.array([[0.0], [0.1]]), abs=1e-9)
        assert (part.slope.tolist(), part.slope_sd.tolist()) == ([1.0], [1.5])
        # The first pack gives less, or the second does.
        assert [(a["place"], a["sign"], a["first"]) for a in (first, second)] == [
            ("pack 1", -1.0, 1),
            ("pack 2", 1.0, 1),
        ]

    @pytest.mark.parametrize(
        ("before", "now", "told"),
        [
            (0.5, 0.1249, False),
            (0.5, 0.125, True),  # out of the band
            (0.75, 0.125, True),  # into the band, by as much
            (0.5625, 0.0625, False),
            (0.4, 0.05, True),  # by less, but out of the band
        ],
    )
    @pytest.mark.parametrize("place", ["pack 1", "pack 2"])
    def test_out_of_the_band_or_by_as_much(
        self,
        make_case: Make,
        make_flight: Make,
        make_judgement: Make,
        place: str,
        before: float,
        now: float,
        told: bool,
    ) -> None:
        # Not in the mean: a flight before the baseline, and those since the change.
        share = before if place == "pack 1" else 1.0 - before
        flights = [
            make_flight({("pack 1", "share"): x}) for x in (0.9, *([share] * 4), 0.1, 0.1, 0.1)
        ]
        sign = -1.0 if place == "pack 1" else 1.0
        judgement = make_judgement(now=now, first=1, sure=True)
        charts = Charts(share=lambda s: judgement if s == sign else None)
        found = self.run(make_case, flights, charts)
        assert bool(found.drafts) is told
        if told:
            finding = only(found)
            change = finding.change
            assert change is not None
            assert (finding.code, finding.place) == ("pack-share", place)
            assert (finding.level, finding.since_flight) == (Level.WATCH, "6")
            assert change.before == pytest.approx(100 * before)
            assert change.now == pytest.approx(100 * (before - now))
            assert change.rise == pytest.approx(-100 * now)
            assert f"{100 * (before - now):.0f} % of the current" in finding.title
            assert f"{100 * before:.0f} %" in finding.title

    def test_one_of_the_two_is_told(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        flights = [make_flight({("pack 1", "share"): 0.5})] * 8
        charts = Charts(share=make_judgement(now=0.3))
        assert only(self.run(make_case, flights, charts)).place == "pack 1"
        assert len(charts.asked) == 1

    def test_nothing(self, make_case: Make, make_flight: Make, make_judgement: Make) -> None:
        flights = [make_flight({("pack 1", "share"): 0.5})] * 8
        charts = Charts(share=make_judgement(onset=None, now=0.4))
        found = self.run(make_case, flights, charts)
        assert (found.drafts, found.not_judged) == ([], [])
        assert [x.place for x in found.looked] == ["pack 1", "pack 2"]
        assert len(charts.asked) == 2
        found = self.run(make_case, [make_flight()] * 8, Charts())
        assert (found.drafts, found.looked) == ([], [])
        assert [(u.place, u.reason) for u in found.not_judged] == [
            ("pack 1", NotJudged.UNLOGGED), ("pack 2", NotJudged.UNLOGGED),
        ]  # fmt: skip


class TestJudgePacks:
    """What is asked of one pack, of a pair, of three."""

    def row(self, *names: str) -> dict[tuple[str, str], float]:
        made = {}
        for p in names:
            given = {"source_mohm": 30.0, "share": 0.5, "end_v": 7.5, "start_v": 8.2}
            made.update({(p, f): x for f, x in {**given, "used_mah": 900.0}.items()})
        return made

    def pair(self) -> Blocks:
        load = np.array([1.0, -3.0, 3.0, -1.0] * 3)
        return Blocks(block_s=12.0, amps={"pack 1": 9.0 + load, "pack 2": 9.0 + load})

    def asked(self, charts: Charts) -> list[tuple[str, str]]:
        return [(a["parts"][-1].name, a["place"]) for a in charts.asked]

    def test_no_pack(self, make_case: Make, make_flight: Make) -> None:
        found = packs.judge_packs(make_case([make_flight()] * 3, told=Charts()))
        codes = {c for u in found.not_judged for c in u.codes}
        assert codes == {"source-resistance-rising", "pack-weak", "pack-share"}
        assert all("packs" in u.why for u in found.not_judged)

    def test_a_pair(self, make_case: Make, make_flight: Make) -> None:
        charts = Charts()
        flights = [make_flight(self.row("pack 1", "pack 2"), air=self.pair())] * 4
        case = make_case(flights, aircraft=PAIR, told=charts, notes=[note("pack 2", 2)])
        reasons = {u.reason for u in packs.judge_packs(case).not_judged}
        assert reasons == {NotJudged.TOO_FEW_FLIGHTS}  # the made-up charts tell nothing
        assert self.asked(charts) == [
            ("source_mohm", "pack 1"),
            ("source_mohm", "pack 2"),
            ("source_mohm", "pack 1"),  # both together
            ("divider", "pack 1"),
            ("end_v", "pack 1"),
            ("divider", "pack 2"),
            ("end_v", "pack 2"),
            ("share", "pack 1"),
            ("share", "pack 2"),
        ]
        # Each is set against the other one: no level is left.
        assert charts.asked[0]["parts"][0].y.tolist() == [0.0] * 4
        # One of two packs is judged anew with either.
        own = [a["first"] for a in charts.asked if a["parts"][0].name in ("divider", "source_mohm")]
        assert own == [2] * 5

    def test_a_pack_that_is_told_already_is_not_told_by_its_way(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        flights = [make_flight(self.row("pack 1", "pack 2"), air=self.pair())] * 8
        charts = Charts(source_mohm=make_judgement(now=0.5), divider=make_judgement(now=0.5))
        found = packs.judge_packs(make_case(flights, aircraft=PAIR, told=charts))
        assert "divider" not in {name for name, _ in self.asked(charts)}
        assert [f.place for f in found.drafts] == ["pack 1", "pack 2"]

    def test_one_pack_is_seen_at_the_bus_too(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        row = {**self.row("pack 1"), ("bus", "source_mohm"): 45.0}

        def warm(row: dict[tuple[str, str], float]) -> Measures:
            return make_flight(row, temperature_c=20.0)

        def days(row: dict[tuple[str, str], float]) -> list[Measures]:
            return [replace(warm(row), start=f"2026-05-0{day}") for day in range(1, 5)]

        charts = Charts()
        packs.judge_packs(make_case([warm(row)] * 4, aircraft=ONE, told=charts))
        assert self.asked(charts) == [
            ("source_mohm", "pack 1"),
            ("source_mohm", "pack 1"),
            ("end_v", "pack 1"),
        ]
        assert charts.asked[1]["parts"][0].y == pytest.approx([log(45.0)] * 4)
        # Not where its own terminals tell it already.
        charts = Charts(source_mohm=make_judgement(4, 2))
        found = packs.judge_packs(make_case(days(row), aircraft=ONE, told=charts))
        assert len(found.drafts) == 1
        # Where nothing names the root it is the bus.
        craft = Aircraft(nodes=(Node(name="tail"),))
        charts = Charts()
        packs.judge_packs(make_case([warm(row)] * 4, aircraft=craft, told=charts))
        assert charts.asked[1]["parts"][0].y == pytest.approx([log(45.0)] * 4)

    @pytest.mark.parametrize(
        ("now", "warm", "dated", "told"),
        [
            (0.3, False, False, False),
            (0.4, False, False, True),
            (0.3, True, False, True),
            (0.3, False, True, True),
        ],
    )
    def test_what_winter_makes_of_packs_is_told_where_date_or_warmth_is_known(
        self,
        make_case: Make,
        make_flight: Make,
        make_judgement: Make,
        now: float,
        warm: bool,
        dated: bool,
        told: bool,
    ) -> None:
        """From summer to winter, two deviations of the year's swing: 38 %."""
        one = make_flight(self.row("pack 1"), temperature_c=20.0 if warm else None)
        starts = [f"2026-05-{9 + k:02d}" if dated else None for k in range(12)]
        flights = [replace(one, start=start) for start in starts]
        charts = Charts(source_mohm=make_judgement(12, 4, now=now))
        found = packs.judge_packs(make_case(flights, aircraft=ONE, told=charts))
        assert bool(found.drafts) is told

    def test_three_packs_are_each_set_against_their_own_past(
        self, make_case: Make, make_flight: Make
    ) -> None:
        charts = Charts()
        names = ("pack 1", "pack 2", "pack 3")
        flights = [make_flight(self.row(*names), air=self.pair(), temperature_c=20.0)] * 4
        packs.judge_packs(make_case(flights, aircraft=PAIR, told=charts))
        alone = [("source_mohm", p) for p in names]
        assert self.asked(charts) == alone + [("end_v", p) for p in names]
        assert charts.asked[0]["parts"][0].y == pytest.approx([log(30.0)] * 4)
