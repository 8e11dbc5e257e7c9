"""The rules on the supply: packs that gave nothing, dips of the bus, counters; by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import log, nan
from typing import Any

import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.checks.aircraft_history import (
    GROUND_RUN,
    WATCH_RUN,
    AircraftHistory,
    JudgedAcross,
)
from telemetry.checks.draft import FindingDraft
from telemetry.checks.packs import outs
from telemetry.checks.sensors import counters
from telemetry.checks.supply import dips as supply
from telemetry.results import Level, NoteMark
from telemetry.trends.counts import Burst
from telemetry.trends.evidence import Judgement
from telemetry.trends.measures import EventCount, Measures, ReportedFinding

Make = Callable[..., Any]
PAIR = Aircraft(bus="bus", packs=(Pack(name="pack 1"), Pack(name="pack 2")))
SEEN = ReportedFinding("pack-out", "pack 1", Level.WATCH)


def note(before: int) -> NoteMark:
    return NoteMark(kind="repaired", place="pack 1", text="", date="2026-05-01", before=before)


class TestOut:
    @pytest.fixture
    def out(self, make_case: Make, make_flight: Make) -> Callable[..., FindingDraft | None]:
        """What is told of pack 1, by its shares; more by the number of the flight, from 0."""

        def out(
            *share: float,
            seen: Sequence[int] = (),
            code: ReportedFinding = SEEN,
            lowest_v: dict[int, float] | None = None,
            rest_v: dict[int, tuple[float, float]] | None = None,
            notes: Sequence[NoteMark] = (),
        ) -> FindingDraft | None:
            flights = []
            for k, x in enumerate(share):
                row: dict[tuple[str, str], float | None] = {
                    ("pack 1", "share"): None if x != x else x
                }
                if lowest_v and k in lowest_v:
                    row["pack 1", "lowest_flight_v"] = lowest_v[k]
                if rest_v and k in rest_v:
                    row["pack 1", "rest_v"], row["pack 2", "rest_v"] = rest_v[k]
                flights.append(make_flight(row, reported=(code,) if k in seen else ()))
            found = JudgedAcross()
            outs.judge_out(
                make_case(flights, aircraft=PAIR, notes=notes), "pack 1", "pack 2", found
            )
            assert len(found.drafts) < 2
            return found.drafts[0] if found.drafts else None

        return out

    @pytest.mark.parametrize(("share", "told"), [(0.03, False), (0.0299, True)])
    def test_below_three_percent_it_gives_nothing(
        self, out: Make, share: float, told: bool
    ) -> None:
        assert (out(0.5, 0.5, 0.5, share) is not None) is told

    @pytest.mark.parametrize(("usual", "told"), [(0.1499, False), (0.15, True)])
    def test_it_used_to_take_part(self, out: Make, usual: float, told: bool) -> None:
        assert (out(usual, usual, usual, 0.0) is not None) is told
        # The usual share is the median of the flights before, with or without one that differs.
        assert (out(usual, usual, usual, 0.9, 0.0) is not None) is told

    def test_two_flights_for_a_usual_share(self, out: Make) -> None:
        assert out(0.5, 0.0) is None
        assert out(nan, 0.5, 0.0) is None
        assert out(0.5, 0.5, 0.0) is not None

    @pytest.mark.parametrize(("own_v", "told"), [(0.9699, False), (0.97, True)])
    def test_the_emptier_pack_rests(self, out: Make, own_v: float, told: bool) -> None:
        assert (out(0.5, 0.5, 0.0, rest_v={2: (own_v, 1.0)}) is not None) is told
        # In that very flight.
        assert out(0.5, 0.5, 0.0, rest_v={1: (own_v, 1.0)}) is not None

    @pytest.mark.parametrize(("share", "told"), [(0.4199, True), (0.5 - 0.08, False)])
    def test_told_by_its_flight_it_lacks_8_points(
        self, out: Make, share: float, told: bool
    ) -> None:
        assert (out(0.5, 0.5, 0.5, share, seen=[3]) is not None) is told
        # Not told by its own flight it must give nothing.
        assert out(0.5, 0.5, 0.5, share, seen=[2]) is None
        # Nor do words on another pack or of another kind tell it.
        for code in (
            ReportedFinding("pack-out", "pack 2", Level.WATCH),
            ReportedFinding("pack-share", "pack 1", Level.WATCH),
        ):
            assert out(0.5, 0.5, 0.5, share, seen=[3], code=code) is None

    @pytest.mark.parametrize(("share", "told"), [(0.146, True), (0.147, False)])
    def test_or_two_and_a_half_deviations(self, out: Make, share: float, told: bool) -> None:
        # Of 0.4 and 0.6 the deviation is 0.1414: 0.5 - 0.3536.
        assert (out(0.4, 0.6, share, seen=[2]) is not None) is told

    @pytest.mark.parametrize(("lowest_v", "told"), [(3.5, False), (3.49, True)])
    def test_its_own_voltage_decides_where_it_is_known(
        self, out: Make, lowest_v: float, told: bool
    ) -> None:
        # Half of the usual lowest, which is the median of 7 V: the share may stay or fall.
        before = {0: 6.0, 1: 7.0, 2: 7.2}
        for share in (0.5, 0.1):
            found = out(0.5, 0.5, 0.5, share, seen=[3], lowest_v={**before, 3: lowest_v})
            assert (found is not None) is told
        # Where either is not known the share decides.
        assert out(0.5, 0.5, 0.5, 0.1, seen=[3], lowest_v={3: lowest_v}) is not None
        assert out(0.5, 0.5, 0.5, 0.1, seen=[3], lowest_v=before) is not None

    def test_a_note_begins_anew(self, out: Make) -> None:
        assert out(0.5, 0.5, 0.0, notes=[note(3)]) is None
        found = out(0.5, 0.5, 0.0, notes=[note(2)])
        assert found is not None
        # What it used to give is known from before the note.
        assert found.evidence["usual_share"] == 0.5

    @pytest.mark.parametrize(("after", "count"), [((), 1), ((0.5, 0.0), 2)], ids=["now", "twice"])
    def test_it_grounds(self, out: Make, after: tuple[float, ...], count: int) -> None:
        found = out(0.4, 0.6, 0.5, 0.01, *after)
        assert found is not None
        assert (found.code, found.place, found.level) == ("pack-out", "pack 1", Level.GROUND)
        assert found.since_flight == "4"
        assert found.evidence == {
            "flights_with": count,
            "share": 0.01,
            "usual_share": 0.5,
            "flights_since": 1 + len(after),
        }
        assert ("1 flight" if count == 1 else "2 flights") in found.title

    def test_a_flight_in_which_it_gave_its_share_does_not_show_it(self, out: Make) -> None:
        """How long it stays open after that is told by the replay."""
        assert out(0.4, 0.6, 0.5, 0.01, 0.5) is None

    def test_share_that_is_not_known(self, out: Make) -> None:
        found = out(0.5, 0.5, nan, seen=[2], lowest_v={0: 7.0, 1: 7.0, 2: 1.0})
        assert found is not None
        assert found.evidence["share"] is None


class TestDips:
    @pytest.fixture
    def dips(
        self, make_case: Make, make_flight: Make, monkeypatch: pytest.MonkeyPatch
    ) -> Callable[..., JudgedAcross]:
        def dips(
            events: Sequence[tuple[EventCount, ...]],
            burst: Burst | None,
            *,
            strict: bool = True,
            aircraft: Aircraft = PAIR,
            notes: Sequence[NoteMark] = (),
        ) -> JudgedAcross:
            self.asked: list[Any] = []

            def judge_counts(
                counts: Sequence[int], others: Sequence[Any], *, first: int, run: float
            ) -> Burst | None:
                self.asked.append((list(counts), list(others), first, run))
                return burst if strict or run < 10 * GROUND_RUN else None

            monkeypatch.setattr(supply, "judge_counts", judge_counts)
            flights = [make_flight(events=e) for e in events]
            found = JudgedAcross()
            case = make_case(flights, aircraft=aircraft, charts=10, notes=notes)
            supply.judge_dips_of(case, [p.name for p in aircraft.packs], found)
            return found

        return dips

    @staticmethod
    def fall(place: str, count: int, deepest_v: float, origin: str = "supply") -> EventCount:
        return EventCount(place=place, origin=origin, count=count, deepest_v=deepest_v)

    BURST = Burst(count=5, flights=2, since=1, usual=0.1, p=1e-5)

    def test_most_of_any_place_flight_by_flight(self, dips: Callable[..., JudgedAcross]) -> None:
        events = [
            (self.fall("bus", 1, 0.5), self.fall("pack 1", 3, 0.7, "pack")),
            (self.fall("bus", 9, 5.0, "load"), self.fall("tail", 9, 5.0)),
            (self.fall("bus", 2, 0.9, "brownout"), self.fall("pack 2", 1, 0.4)),
        ]
        found = dips(events, self.BURST, notes=[note(1)])
        # One chart of ten: false so seldom that all together keep the rate of the history.
        assert self.asked == [
            ([3, 0, 2], [], 1, pytest.approx(10 * WATCH_RUN)),
            ([3, 0, 2], [], 1, pytest.approx(10 * GROUND_RUN)),
        ]
        (f,) = found.drafts
        assert (f.code, f.place, f.level) == ("supply-dips", "bus", Level.GROUND)
        assert f.evidence["deepest_v"] == 0.9
        assert f.since_flight == "2"

    @pytest.mark.parametrize(
        ("strict", "flights", "level"),
        [(True, 2, Level.GROUND), (False, 2, Level.WATCH), (True, 1, Level.WATCH)],
    )
    def test_grounds_only_in_two_flights_and_surely(
        self, dips: Callable[..., JudgedAcross], strict: bool, flights: int, level: Level
    ) -> None:
        burst = Burst(count=5, flights=flights, since=1, usual=0.1, p=1e-5)
        (f,) = dips([(self.fall("bus", 1, 0.5),)] * 3, burst, strict=strict).drafts
        assert f.level is level

    def test_nothing(self, dips: Callable[..., JudgedAcross]) -> None:
        assert dips([(self.fall("bus", 1, 0.5),)] * 3, None) == JudgedAcross()

    def test_nothing_of_a_flight_without_any(self, dips: Callable[..., JudgedAcross]) -> None:
        assert dips([(self.fall("bus", 4, 0.5),)] * 3 + [()], self.BURST) == JudgedAcross()

    def test_without_a_root_it_is_the_bus(self, dips: Callable[..., JudgedAcross]) -> None:
        (f,) = dips([(self.fall("bus", 4, 0.5),)] * 3, self.BURST, aircraft=Aircraft()).drafts
        assert f.place == "bus"
        assert self.asked[0][0] == [4, 4, 4]


@pytest.mark.parametrize(
    ("by_load", "told"), [(0, True), (6, False)], ids=["nothing else", "hard flying"]
)
def test_falls_that_a_missed_peak_may_make_count_against_those_of_the_load(
    make_case: Make, make_flight: Make, by_load: int, told: bool
) -> None:
    def flight(unknown: int, load: int) -> Measures:
        events = [
            EventCount(place="bus", origin=o, count=n, deepest_v=0.9)
            for o, n in (("unknown", unknown), ("load", load))
        ]
        return make_flight(events=tuple(e for e in events if e.count))

    found = JudgedAcross()
    flights = [flight(0, 0)] * 8 + [flight(5, by_load)] * 3
    supply.judge_dips_of(make_case(flights, aircraft=PAIR), ["pack 1", "pack 2"], found)
    assert [(f.code, f.place, f.level) for f in found.drafts] == (
        [("supply-dips", "bus", Level.WATCH)] if told else []
    )


class TestCounter:
    def run(
        self, make_case: Make, make_flight: Make, values: Sequence[Any], told: Any
    ) -> JudgedAcross:
        def chart(place: str, **asked: Any) -> Judgement | None:
            self.asked.append((place, asked))
            found: Judgement | None = told(asked["sign"])
            return found

        self.asked: list[Any] = []
        flights = [make_flight({("bus", "counter_ratio"): v}) for v in values]
        found = JudgedAcross()
        counters.judge_counter(make_case(flights, told=chart), "bus", found)
        return found

    def test_logarithms_of_what_is_positive(self, make_case: Make, make_flight: Make) -> None:
        values = [(1.25, 1.25 - 1.96 * 0.05, 1.25 + 1.96 * 0.05), 0.0, None, 0.8]
        self.run(make_case, make_flight, values, lambda _: None)
        assert [(p, a["sign"], a["logarithmic"]) for p, a in self.asked] == [
            ("bus", 1.0, True),
            ("bus", -1.0, True),
        ]
        (part,) = self.asked[0][1]["parts"]
        assert (part.at.tolist(), part.sigma) == ([0, 3], 0.02)
        assert part.y == pytest.approx([log(1.25), log(0.8)])
        assert part.se == pytest.approx([0.04, 0.0])
        self.run(make_case, make_flight, [0.0, None], lambda _: None)
        assert self.asked == []

    @pytest.mark.parametrize(("now", "told"), [(0.0999, False), (0.1, True)])
    @pytest.mark.parametrize(("sign", "word"), [(1.0, "more"), (-1.0, "less")])
    def test_told_from_ten_percent_on(
        self,
        make_case: Make,
        make_flight: Make,
        make_judgement: Make,
        now: float,
        told: bool,
        sign: float,
        word: str,
    ) -> None:
        moved = make_judgement(now=now, sure=True)
        found = self.run(make_case, make_flight, [1.0] * 8, lambda s: moved if s == sign else None)
        assert bool(found.drafts) is told
        if told:
            (f,) = found.drafts
            assert f.change is not None
            assert (f.code, f.level) == ("capacity-mismatch", Level.WATCH)
            assert f"{100 * now:.0f} % {word}" in f.title
            assert f.change.rise == pytest.approx(sign * 100 * now)

    def test_one_way_is_told(
        self, make_case: Make, make_flight: Make, make_judgement: Make
    ) -> None:
        both = self.run(make_case, make_flight, [1.0] * 8, lambda _: make_judgement(now=0.5))
        assert len(both.drafts) == 1
        not_established = make_judgement(onset=None, now=0.5)
        found = self.run(make_case, make_flight, [1.0] * 8, lambda _: not_established)
        assert (found.drafts, found.not_judged) == ([], [])
        assert {x.sees for x in found.looked} == {"a counter 10 % off"}


class TestJudgeSupply:
    def calls(
        self, case: AircraftHistory, monkeypatch: pytest.MonkeyPatch, *, cut: bool = False
    ) -> list[tuple[Any, ...]]:
        made: list[tuple[Any, ...]] = []

        def cut_off(_case: AircraftHistory, code: str, place: str, _found: JudgedAcross) -> bool:
            made.append(("cut", code, place))
            return cut

        monkeypatch.setattr(supply, "cut_off", cut_off)
        monkeypatch.setattr(
            outs, "judge_out", lambda _c, one, two, _f: made.append(("out", one, two))
        )
        monkeypatch.setattr(supply, "judge_dips_of", lambda _c, p, _f: made.append(("dips", *p)))
        monkeypatch.setattr(
            counters, "judge_counter", lambda _c, p, _f: made.append(("counter", p))
        )
        outs.judge_outs(case)
        supply.judge_dips(case)
        counters.judge_counters(case)
        return made

    def flights(self, make_flight: Make) -> list[Measures]:
        return [make_flight({("bus", "counter_ratio"): 1.0, ("tail", "rest_a"): 1.0})] * 2

    def test_of_a_pair(
        self, make_case: Make, make_flight: Make, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        case = make_case(self.flights(make_flight), aircraft=PAIR)
        both = [("out", "pack 1", "pack 2"), ("out", "pack 2", "pack 1")]
        rest = [("cut", "supply-dips", "bus"), ("dips", "pack 1", "pack 2"), ("counter", "bus")]
        assert self.calls(case, monkeypatch) == both + rest
        # A bus that went down is not counted besides.
        assert self.calls(case, monkeypatch, cut=True) == [*both, rest[0], rest[2]]

    def test_without_a_pair_or_a_root(
        self, make_case: Make, make_flight: Make, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        case = make_case(self.flights(make_flight))
        assert self.calls(case, monkeypatch) == [
            ("cut", "supply-dips", "bus"),
            ("dips",),
            ("counter", "bus"),
        ]
        one = Aircraft(packs=(Pack(name="pack 1"),))
        case = make_case(self.flights(make_flight), aircraft=one)
        assert self.calls(case, monkeypatch)[0] == ("cut", "supply-dips", "pack 1")
