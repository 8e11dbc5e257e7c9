"""The rules on leads: what follows from what the charts and the odds say, case by case."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import hypot, nan
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.draft import FindingDraft
from telemetry.checks.leads import across as leads
from telemetry.results import Level, NotJudged
from telemetry.trends.evidence import Judgement
from telemetry.trends.measures import Blocks, Measures
from telemetry.trends.parts import EvidencePart

Make = Callable[..., Any]
CRAFT = Aircraft(
    bus="bus",
    nodes=(Node(name="left wing", fed_from="bus"), Node(name="tail", fed_from="bus")),
)
PLACES = ("bus", "left wing", "tail")


def blocks(amps: dict[str, float] | None = None) -> Blocks:
    """Eight stretches of 7 V at every place, and of steady currents."""
    return Blocks(
        block_s=12.0,
        amps={p: np.full(8, a) for p, a in (amps or {}).items()},
        volts={p: np.full(8, 7.0) for p in PLACES},
    )


@pytest.fixture
def flight(make_flight: Make) -> Callable[..., Measures]:
    """One flight: currents in the air by place, and features."""

    def flight(features: dict[Any, Any] | None = None, **amps: float) -> Measures:
        named = {p.replace("_", " "): a for p, a in amps.items()}
        made: Measures = make_flight(features, air=blocks(named))
        return made

    return flight


@pytest.fixture
def branch(make_judgement: Make) -> Callable[..., leads.BranchEvidence]:
    """The evidence on the tail's lead."""

    def branch(now: float = 10.0, *, own: bool = True, **more: Any) -> leads.BranchEvidence:
        plain = {
            "place": "tail",
            "parent": "bus",
            "current": "tail" if own else "bus",
            "own": own,
            "fit": "branch_mohm" if own else "apparent_mohm",
            "parts": (),
            "watch": 8.0,
            "ground": 25.0,
        }
        judged = {k: more.pop(k) for k in tuple(more) if k not in plain}
        return leads.BranchEvidence(
            **{**plain, **more}, judgement=make_judgement(now=now, **judged)
        )

    return branch


class TestBranchFinding:
    def found(self, case: AircraftHistory, branch: leads.BranchEvidence) -> FindingDraft | None:
        return leads.branch_finding(case, branch)

    @pytest.mark.parametrize(
        ("before", "now", "sure", "level"),
        [
            (20.0, 7.99, True, None),
            (20.0, 8.0, False, Level.WATCH),
            (50.0, 9.99, True, None),  # not by 20 %
            (50.0, 10.0, False, Level.WATCH),
            (20.0, 24.99, True, Level.WATCH),
            (20.0, 25.0, True, Level.GROUND),
            (20.0, 25.0, False, Level.WATCH),
            (40.0, 29.99, True, Level.WATCH),  # not by 75 %
            (40.0, 30.0, True, Level.GROUND),
        ],
    )
    def test_of_a_lead_whose_own_current_is_known(
        self,
        make_case: Make,
        flight: Make,
        branch: Make,
        before: float,
        now: float,
        sure: bool,
        level: Level | None,
    ) -> None:
        case = make_case([flight({("tail", "branch_mohm"): before})] * 8, aircraft=CRAFT)
        found = self.found(case, branch(now, sure=sure))
        if level is None:
            assert found is None
            return
        assert found is not None
        assert found.change is not None
        assert (found.level, found.since_flight) == (level, "6")
        assert f"{now:.0f} mOhm more" in found.title
        assert f"{before:.0f} before" in found.title
        assert found.evidence["rise_pct"] == pytest.approx(100 * now / before)
        assert (found.change.before, found.change.now) == (before, before + now)
        assert found.change.limit == (25.0 if level is Level.WATCH else None)
        assert found.evidence["measured"] == "own current"

    def test_of_the_whole_current_it_is_watched_alone(
        self, make_case: Make, flight: Make, branch: Make
    ) -> None:
        case = make_case([flight({("tail", "apparent_mohm"): 20.0})] * 8, aircraft=CRAFT)
        found = self.found(case, branch(30.0, own=False, sure=True))
        assert found is not None
        assert found.change is not None
        assert (found.level, found.change.limit) == (Level.WATCH, None)
        assert "up by 150 %" in found.title
        own = self.found(case, branch(30.0, sure=True))
        assert own is not None
        assert (len(found.further), own.further) == (1, ())
        # Its limits are the branch's, not the aircraft's.
        assert self.found(case, branch(7.0, own=False, watch=7.0)) is not None

    def test_nothing_known_from_before(self, make_case: Make, flight: Make, branch: Make) -> None:
        found = self.found(make_case([flight()] * 8, aircraft=CRAFT), branch(30.0, sure=True))
        assert found is not None
        assert found.change is not None
        assert (found.level, found.change.before, found.change.now) == (Level.GROUND, None, None)
        assert (found.evidence["usual_mohm"], found.evidence["rise_pct"]) == (None, None)
        assert "before" not in found.title


class TestBaseline:
    def test_as_fitted_before_the_change(self, make_case: Make, flight: Make, branch: Make) -> None:
        values = [90.0, 30.0, 32.0, 34.0, 36.0, 99.0, 99.0, 99.0]
        case = make_case([flight({("tail", "branch_mohm"): v}) for v in values])
        assert leads.baseline_mohm(case, branch(first=1), 5) == 33.0

    def test_else_the_median_of_the_first_part_that_is_positive(
        self, make_case: Make, flight: Make, branch: Make
    ) -> None:
        def part(y: Sequence[float], at: Sequence[int]) -> EvidencePart:
            n = len(y)
            return EvidencePart(name="", at=np.array(at), y=np.array(y), se=np.zeros(n), sigma=1.0)

        case = make_case([flight()] * 8)
        at = [0, 1, 2, 4, 5, 6]
        negative = part([9.0, -1.0, -2.0, -3.0, 9.0, 9.0], at)
        late = part([7.0], [5])
        good = part([99.0, 0.25, 0.75, 0.5, 99.0, 99.0], at)
        some = branch(first=1, parts=(negative, late, good))
        assert leads.baseline_mohm(case, some, 5) == 0.5
        zero = part([0.0, 0.0], [1, 2])
        assert leads.baseline_mohm(case, branch(first=1, parts=(zero, late)), 5) is None


class TestBranch:
    def told(self, judgement: Judgement | None) -> Callable[..., Judgement | None]:
        self.asked: list[Any] = []

        def told(place: str, **asked: Any) -> Judgement | None:
            self.asked.append((place, asked["first"], [p.name for p in asked["parts"]]))
            return judgement

        return told

    def test_by_its_own_current(self, make_case: Make, flight: Make, make_judgement: Make) -> None:
        features = {("tail", "branch_mohm"): 30.0, ("tail", "apparent_mohm"): 10.0}
        case = make_case(
            [flight(features, tail=2.0, bus=5.0)] * 8,
            aircraft=CRAFT,
            told=self.told(make_judgement(now=3.0)),
        )
        found = JudgedAcross()
        made = leads.branch_evidence(case, "tail", "bus", found)
        assert made is not None
        assert (made.own, made.current, made.watch, made.ground) == (True, "tail", 8.0, 25.0)
        assert self.asked == [("tail", 0, ["air", "branch_mohm"])]
        (trend,) = found.trends
        assert (trend.watch, trend.ground, trend.record().value[-1]) == (8.0, 25.0, 3.0)
        assert trend.quantity == "rise of drop per amp"

    def test_by_its_share_of_the_whole(
        self, make_case: Make, flight: Make, make_judgement: Make
    ) -> None:
        features = {("tail", "branch_mohm"): 30.0, ("tail", "apparent_mohm"): 10.0}
        case = make_case(
            [flight(features, bus=5.0)] * 8, aircraft=CRAFT, told=self.told(make_judgement())
        )
        made = leads.branch_evidence(case, "tail", "bus", JudgedAcross())
        assert made is not None
        # Two places share the whole.
        assert (made.own, made.current, made.watch, made.ground) == (False, "bus", 4.0, 12.5)
        assert self.asked == [("tail", 0, ["air", "apparent_mohm"])]

    def test_not_judged_without_current_or_flights(self, make_case: Make, flight: Make) -> None:
        found = JudgedAcross()
        case = make_case([flight()] * 8, aircraft=CRAFT, told=self.told(None))
        assert leads.branch_evidence(case, "tail", "bus", found) is None
        case = make_case([flight(tail=2.0)] * 8, aircraft=CRAFT, told=self.told(None))
        assert leads.branch_evidence(case, "tail", "bus", found) is None
        assert len(found.not_judged) == 2
        assert "no current" in found.not_judged[0].why
        assert found.trends == []

    def test_no_place_to_judge(self, make_case: Make, make_flight: Make) -> None:
        found = leads.judge_leads(make_case([make_flight()] * 3, aircraft=CRAFT))
        assert len(found.not_judged) == 1
        assert not found.trends


def test_usual_current_is_that_before_the_change(
    make_case: Make, flight: Make, make_flight: Make, branch: Make
) -> None:
    amps = [9.0, 1.0, 2.0, 3.0, 9.0]
    case = make_case([flight(tail=a) for a in amps])
    assert leads.usual_current(case, branch(first=1), 4) == 2.0
    # Nothing known: 1 A, so that milliohm are millivolt.
    assert leads.usual_current(make_case([flight()] * 5), branch(), 4) == 1.0
    some = make_case([flight(tail=nan), flight(tail=2.0), flight(tail=4.0)])
    assert leads.usual_current(some, branch(), 3) == 3.0
    late = make_case([make_flight()] * 4 + [flight(tail=9.0)])
    assert leads.usual_current(late, branch(), 4) == 1.0


class TestOffset:
    """Of a place that reads lower (sign 1) or higher (-1) than it used to."""

    def found(
        self, make_case: Make, flight: Make, told: Callable[[float], Judgement | None]
    ) -> tuple[tuple[Judgement, float] | None, JudgedAcross]:
        def chart(place: str, **asked: Any) -> Judgement | None:
            assert (place, [p.name for p in asked["parts"]]) == ("tail", ["offset_v"])
            return told(asked["sign"])

        case = make_case([flight({("tail", "offset_v"): 0.01})] * 8, aircraft=CRAFT, told=chart)
        found = JudgedAcross()
        return leads.lasting_offset(case, "tail", "bus", found), found

    @pytest.mark.parametrize(("now", "told"), [(0.0599, False), (0.06, True)])
    @pytest.mark.parametrize("sign", [1.0, -1.0])
    def test_told_from_60_mv_on(
        self,
        make_case: Make,
        flight: Make,
        make_judgement: Make,
        sign: float,
        now: float,
        told: bool,
    ) -> None:
        nothing, moved = make_judgement(onset=None, now=0.0), make_judgement(now=now)
        made, found = self.found(make_case, flight, lambda s: moved if s == sign else nothing)
        assert made == ((moved, sign) if told else None)
        (trend,) = found.trends
        assert (trend.watch, trend.unit) == (0.06, "V")
        assert trend.record().value[-1] == (now if sign > 0 else 0.0)

    def test_no_chart(self, make_case: Make, flight: Make, make_judgement: Make) -> None:
        made, found = self.found(make_case, flight, lambda _: None)
        assert (made, found.trends, found.drafts) == (None, [], [])
        (few,) = found.not_judged
        assert (few.codes, few.reason) == (("sensor-offset",), NotJudged.TOO_FEW_FLIGHTS)
        large = make_judgement(onset=None, now=1.0)
        assert self.found(make_case, flight, lambda _: large)[0] is None

    @pytest.mark.parametrize(("sign", "word"), [(1.0, "lower"), (-1.0, "higher")])
    def test_finding(
        self, make_case: Make, flight: Make, make_judgement: Make, sign: float, word: str
    ) -> None:
        case = make_case([flight()] * 8, aircraft=CRAFT)
        found = leads.offset_finding(case, "tail", "bus", make_judgement(now=0.1), sign)
        assert found.change is not None
        assert (found.code, found.level) == ("sensor-offset", Level.WATCH)
        assert f"0.10 V {word}" in found.title
        assert (found.change.rise, found.change.rise_unit) == (sign * 0.1, "V")


class TestLean:
    """Odds for the sensor, by log_odds(moved, deviation, if sensor, if lead)."""

    @pytest.fixture
    def lean(
        self, make_case: Make, flight: Make, branch: Make, monkeypatch: pytest.MonkeyPatch
    ) -> Callable[..., float]:
        def lean(
            moved: dict[str, tuple[float, float]], *, own: bool = True, rest_a: float | None = 0.5
        ) -> float:
            def moved_since(part: EvidencePart, learn: np.ndarray) -> tuple[float, float] | None:
                assert learn.tolist() == [True] * 5 + [False] * 3
                assert part.at.min() == 1
                return moved.get(part.name)

            monkeypatch.setattr(leads, "moved_since", moved_since)
            # 2 A in the air before the change, and not after it; 20 mOhm more: 40 mV.
            features: dict[tuple[str, str], Any] = {
                ("tail", "offset_v"): 0.0,
                ("tail", "rest_v"): 7.0,
                ("bus", "rest_v"): 7.0,
            }
            current = "tail" if own else "bus"
            # The rest current is the mean of all flights, the first included.
            rest = [] if rest_a is None else [rest_a + 0.7, *([rest_a - 0.1] * 7)]
            rows = [features | {(current, "rest_a"): a} for a in rest] or [features] * 8
            amps = [2.0] * 5 + [9.0] * 3
            flights = [flight(r, **{current: a}) for r, a in zip(rows, amps, strict=True)]
            case = make_case(flights, aircraft=CRAFT)
            at = np.arange(8)
            parts = [
                EvidencePart(name=n, at=at, y=np.zeros(8), se=np.zeros(8), sigma=1.0)
                for n in ("air", "slope", "branch_mohm" if own else "apparent_mohm")
            ]
            made = branch(25.0, own=own, first=1, rise=np.r_[[0.0] * 5, 10.0, 20.0, 30.0])
            made = leads.BranchEvidence(
                **{
                    f: getattr(made, f)
                    for f in leads.BranchEvidence.__dataclass_fields__
                    if f != "parts"
                },
                parts=parts,
            )
            return leads.offset_lean(case, "tail", "bus", made)

        return lean

    def test_nothing_known(self, lean: Callable[..., float]) -> None:
        assert lean({}) == 0.0
        assert lean({"air": (20.0, 1.0)}) == 0.0

    def test_a_slope_that_stays_speaks_for_the_sensor(self, lean: Callable[..., float]) -> None:
        # 5 of 20 mOhm, deviation 5: (15^2 - 5^2) / (2 x 25).
        assert lean({"slope": (5.0, 5.0)}) == pytest.approx(4.0)
        assert lean({"slope": (15.0, 5.0)}) == pytest.approx(-4.0)
        # The fit says the same from the same readings: counted once.
        assert lean({"slope": (5.0, 5.0), "branch_mohm": (5.0, 5.0)}) == pytest.approx(4.0)
        # Against the whole current neither tells.
        assert lean({"slope": (5.0, 5.0), "apparent_mohm": (5.0, 5.0)}, own=False) == 0.0

    def test_the_fitted_offset(self, lean: Callable[..., float]) -> None:
        # 30 of 40 mV, deviation 20 mV: (30^2 - 10^2) / (2 x 20^2).
        assert lean({"offset_v": (0.03, 0.02)}) == pytest.approx(1.0)
        assert lean({"offset_v": (0.01, 0.02)}) == pytest.approx(-1.0)

    def test_the_drop_at_rest(self, lean: Callable[..., float]) -> None:
        # At rest 0.5 A through 20 mOhm more: 10 mV, and as much doubt. Seen 30 mV, deviation 10:
        # (20^2 - 10^2) / (2 x 2 x 10^2).
        assert lean({"rest": (0.03, 0.01)}) == pytest.approx(300 / 400)
        # Rest current not known: a tenth of that in the air, 0.2 A: 4 mV.
        sd = hypot(0.01, 0.004)
        assert lean({"rest": (0.03, 0.01)}, rest_a=None) == pytest.approx(
            (0.026**2 - 0.01**2) / (2 * sd**2)
        )

    def test_the_drop_at_rest_by_the_whole_current(self, lean: Callable[..., float]) -> None:
        # Half of the 40 mV is in doubt.
        sd = hypot(0.01, 0.02)
        assert lean({"rest": (0.03, 0.01)}, own=False) == pytest.approx(
            (0.02**2 - 0.01**2) / (2 * sd**2)
        )

    def test_all_of_them_add_up(self, lean: Callable[..., float]) -> None:
        every = {"slope": (5.0, 5.0), "offset_v": (0.03, 0.02), "rest": (0.03, 0.01)}
        assert lean(every) == pytest.approx(4.0 + 1.0 + 0.75)


class TestLead:
    """Offset or lead: a chart of each, and odds for the offset."""

    @pytest.fixture
    def codes(
        self,
        make_case: Make,
        flight: Make,
        make_judgement: Make,
        monkeypatch: pytest.MonkeyPatch,
    ) -> Callable[..., list[tuple[str, float]]]:
        def codes(
            *, lead: float | None, offset: float | None = None, lean: float = 0.0, sign: float = 1.0
        ) -> list[tuple[str, float]]:
            def chart(place: str, **asked: Any) -> Judgement:
                names = {p.name for p in asked["parts"]}
                now = (offset if asked["sign"] == sign else None) if "offset_v" in names else lead
                made: Judgement = (
                    make_judgement(onset=None, now=0.0) if now is None else make_judgement(now=now)
                )
                return made

            monkeypatch.setattr(leads, "offset_lean", lambda *_: lean)
            features = {("tail", "offset_v"): 0.0, ("tail", "branch_mohm"): 20.0}
            flights = [flight(features, tail=2.0)] * 5 + [flight(features, tail=9.0)] * 3
            case = make_case(flights, aircraft=CRAFT, told=chart)
            found = JudgedAcross()
            leads.judge_lead(case, "tail", "bus", found)
            out = []
            for f in found.drafts:
                assert f.change is not None
                out.append((f.code, f.change.rise))
            return out

        return codes

    BRANCH, OFFSET = "branch-resistance-rising", "sensor-offset"

    def test_each_by_itself(self, codes: Callable[..., Any]) -> None:
        assert codes(lead=None) == []
        assert codes(lead=20.0) == [(self.BRANCH, 20.0)]
        assert codes(lead=None, offset=0.1) == [(self.OFFSET, 0.1)]
        assert codes(lead=None, offset=0.1, sign=-1.0) == [(self.OFFSET, -0.1)]

    def test_even_odds_are_for_the_lead(self, codes: Callable[..., Any]) -> None:
        assert codes(lead=20.0, offset=0.1, lean=0.0) == [(self.BRANCH, 20.0)]
        assert codes(lead=20.0, offset=0.1, lean=0.5) == [(self.OFFSET, 0.1)]

    def test_a_rise_that_is_an_offset_is_told_in_volts(self, codes: Callable[..., Any]) -> None:
        # 2 A before the change: 30 mOhm are 60 mV.
        assert codes(lead=30.0, lean=0.5) == [(self.OFFSET, pytest.approx(0.06))]
        # A little less: too small for an offset, and the odds are not clear: the lead, then.
        assert codes(lead=29.9, lean=0.5) == [(self.BRANCH, 29.9)]
        assert codes(lead=29.9, lean=3.0) == [(self.BRANCH, 29.9)]
        assert codes(lead=29.9, lean=3.1) == []

    def test_its_interval_is_told_in_volts_too(
        self,
        make_case: Make,
        flight: Make,
        make_judgement: Make,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        # 40 mOhm (20 to 60) at 2 A: 80 mV (40 to 120).
        def chart(place: str, **asked: Any) -> Judgement | None:
            if any(p.name == "offset_v" for p in asked["parts"]):
                return None
            made: Judgement = make_judgement(now=40.0, low=20.0, high=60.0)
            return made

        monkeypatch.setattr(leads, "offset_lean", lambda *_: 9.0)
        case = make_case(
            [flight({("tail", "offset_v"): 0.0}, tail=2.0)] * 8, aircraft=CRAFT, told=chart
        )
        found = JudgedAcross()
        leads.judge_lead(case, "tail", "bus", found)
        change = found.drafts[0].change
        assert change is not None
        assert (change.rise, change.low, change.high) == pytest.approx((0.08, 0.04, 0.12))
