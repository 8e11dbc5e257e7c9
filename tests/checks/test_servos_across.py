"""The rules on servo currents: which place it was, and what follows from what the charts say."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, log
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.draft import FindingDraft
from telemetry.checks.servos import across as servos
from telemetry.checks.servos import claims
from telemetry.checks.servos.claims import Claim
from telemetry.checks.servos.naming import Suspect
from telemetry.results import Level, NoteMark
from telemetry.trends.evidence import Judgement
from telemetry.trends.measures import Blocks, Measures
from telemetry.trends.parts import EvidencePart

Make = Callable[..., Any]
LEFT, RIGHT, TAIL, NOSE = "left wing", "right wing", "tail", "nose"
ALL = (LEFT, RIGHT, TAIL)
RISING, SILENT = "servo-current-rising", "servo-silent"
#: Two servos in each wing, four in the tail.
CRAFT = Aircraft(
    bus="bus",
    nodes=(
        Node(name=LEFT, fed_from="bus", servos=2),
        Node(name=RIGHT, fed_from="bus", servos=2),
        Node(name=TAIL, fed_from="bus", servos=4),
    ),
)


def note(place: str, before: int) -> NoteMark:
    return NoteMark(kind="changed", place=place, text="", date="2026-05-01", before=before)


@pytest.fixture
def case(make_case: Make, make_flight: Make) -> Callable[..., AircraftHistory]:
    """Eight flights in which every place drew 2 A in the air."""

    def case(
        places: Sequence[str] = ALL,
        *,
        features: Sequence[dict[Any, Any]] = ({},) * 8,
        step_a: float = 0.01,
        **more: Any,
    ) -> AircraftHistory:
        air = Blocks(block_s=12.0, amps={p: np.full(8, 2.0) for p in places})
        flights: list[Measures] = [
            make_flight(f, air=air, steps_a=dict.fromkeys(places, step_a)) for f in features
        ]
        made: AircraftHistory = make_case(flights, **{"aircraft": CRAFT, **more})
        return made

    return case


@pytest.fixture
def claim(make_judgement: Make) -> Callable[..., Claim]:
    def claim(
        place: str = LEFT, others: tuple[str, ...] = (RIGHT,), code: str = RISING, **more: Any
    ) -> Claim:
        return Claim(code=code, place=place, others=others, judgement=make_judgement(**more))

    return claim


def test_loads_are_the_nodes_with_currents(case: Make) -> None:
    made = case(("bus", *ALL))
    assert servos.loads_of(made.table, CRAFT) == ALL


class TestOthers:
    def others(
        self, case: AircraftHistory, place: str, *suspect: str, loads: Sequence[str] = ALL
    ) -> tuple[str, ...] | None:
        return claims.reference_places(case, place, loads, dict.fromkeys(suspect))  # type: ignore[arg-type]

    def test_the_mirror_else_all_that_are_sound(self, case: Make) -> None:
        made = case()
        assert self.others(made, LEFT) == (RIGHT,)
        assert self.others(made, LEFT, TAIL) == (RIGHT,)
        assert self.others(made, LEFT, RIGHT) == (TAIL,)
        assert self.others(made, TAIL) == (LEFT, RIGHT)
        assert self.others(made, TAIL, LEFT) == (RIGHT,)

    def test_none_where_all_others_are_suspect_and_nothing_where_there_is_none(
        self, case: Make
    ) -> None:
        assert self.others(case(), LEFT, RIGHT, TAIL) is None
        assert self.others(case((TAIL,)), TAIL, loads=(TAIL,)) == ()

    def test_a_note_on_the_mirror_does_not_hide_what_went_before(self, case: Make) -> None:
        def references(*notes: NoteMark, suspect: Sequence[str] = ()) -> list[tuple[str, ...]]:
            return claims.places_to_compare(
                case(notes=notes),
                LEFT,
                ALL,
                dict.fromkeys(suspect),  # type: ignore[arg-type]
            )

        assert references() == [(RIGHT,)]
        assert references(note(RIGHT, 3)) == [(RIGHT,), (TAIL,)]
        assert references(note(RIGHT, 3), note(TAIL, 1)) == [(RIGHT,), ()]
        # Its own note is later, or as late: the mirror's takes nothing away.
        assert references(note(RIGHT, 3), note(LEFT, 3)) == [(RIGHT,)]
        assert references(note(RIGHT, 3), note(LEFT, 2), note(TAIL, 2)) == [(RIGHT,), (TAIL,)]
        assert references(suspect=(RIGHT, TAIL)) == []
        assert references(note(RIGHT, 3), suspect=(TAIL,)) == [(RIGHT,), ()]


class TestParts:
    def test_scatter_by_what_it_is_set_against(self, case: Make) -> None:
        made = case()
        assert [p.sigma for p in claims.place_parts(made, LEFT, (RIGHT,))] == [0.015]
        assert [p.sigma for p in claims.place_parts(made, LEFT, (TAIL,))] == [0.05]
        assert [p.sigma for p in claims.place_parts(made, LEFT, (RIGHT, TAIL))] == [0.05]
        assert [p.sigma for p in claims.place_parts(made, LEFT, ())] == [0.2]

    def test_judged_since_a_note_on_any_of_them(self, case: Make) -> None:
        asked: list[Any] = []

        def told(place: str, **more: Any) -> None:
            asked.append((place, more["first"], more["sign"], more["logarithmic"]))

        made = case(told=told, notes=[note(LEFT, 1), note(RIGHT, 3), note(TAIL, 5)])
        assert claims.judge_place(made, LEFT, (RIGHT,), -1.0) is None
        assert asked == [(LEFT, 3, -1.0, True)]


class TestClaims:
    @pytest.fixture(autouse=True)
    def moving(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """The moving currents speak for each claim."""
        monkeypatch.setattr(claims, "moves_so", lambda *_: True)
        monkeypatch.setattr(claims, "seen_to_move", lambda *_: [])

    def codes(
        self, case: Make, told: dict[float, Judgement | None], place: str = LEFT, **more: Any
    ) -> list[tuple[str, tuple[str, ...]]]:
        made = case(told=lambda _place, **asked: told.get(asked["sign"]), **more)
        return [(c.code, c.others) for c in claims.claims_of(made, place, ALL, {})]

    @pytest.mark.parametrize(("now", "told"), [(0.1249, False), (0.125, True)])
    def test_a_quarter_of_one_servos_share(
        self, case: Make, make_judgement: Make, now: float, told: bool
    ) -> None:
        # Of two servos each draws half: 12.5 % of the place.
        found = self.codes(case, {1.0: make_judgement(now=now)})
        assert found == ([(RISING, (RIGHT,))] if told else [])

    @pytest.mark.parametrize(
        ("now", "step", "told"), [(0.2499, True, False), (0.25, True, True), (0.9, False, False)]
    )
    def test_half_of_one_servos_share_is_gone_at_once(
        self, case: Make, make_judgement: Make, now: float, step: bool, told: bool
    ) -> None:
        found = self.codes(case, {-1.0: make_judgement(now=now, step=step)})
        assert found == ([(SILENT, (RIGHT,))] if told else [])

    def test_both_charts_and_both_references(self, case: Make, make_judgement: Make) -> None:
        both = dict.fromkeys((1.0, -1.0), make_judgement(now=0.5, step=True))
        assert self.codes(case, both, notes=[note(RIGHT, 3)]) == [
            (RISING, (RIGHT,)),
            (SILENT, (RIGHT,)),
            (RISING, (TAIL,)),
            (SILENT, (TAIL,)),
        ]
        nothing = dict.fromkeys((1.0, -1.0), make_judgement(onset=None, now=0.5, step=True))
        assert self.codes(case, nothing) == []
        assert self.codes(case, {}) == []


class TestRatherTheMirror:
    """A ratio of left to right that moved: left rose, or right fell."""

    @pytest.fixture
    def turned(
        self, case: Make, make_judgement: Make, monkeypatch: pytest.MonkeyPatch
    ) -> Callable[..., Claim]:
        self.seen: list[Any] = []
        self.other_way = make_judgement(now=0.77)

        def turned(claim: Claim, lean: float, *, told: bool = True) -> Claim:
            def leaning(_case: AircraftHistory, *seen: Any) -> float:
                self.seen.append(seen)
                return lean

            def chart(place: str, **asked: Any) -> Judgement | None:
                self.asked = (place, asked["sign"])
                return self.other_way if told else None

            monkeypatch.setattr(claims, "lean_to_rise", leaning)
            return claims.rather_the_mirror(case(told=chart), claim, ALL)

        return turned

    def test_who_rose_rather_rose(self, turned: Callable[..., Claim], claim: Make) -> None:
        rose = claim(now=0.5, step=True)
        assert turned(rose, 0.0) is rose
        up, down, sound, j, moved = self.seen[0]
        assert (up, down, sound, j) == (LEFT, RIGHT, (TAIL,), rose.judgement)
        assert moved == pytest.approx(log(1.5))

    def test_who_rose_stands_beside_one_that_fell_silent(
        self, turned: Callable[..., Claim], claim: Make
    ) -> None:
        rose = claim(now=0.5, step=True)
        found = turned(rose, -0.1)
        assert (found.code, found.place, found.others) == (SILENT, RIGHT, (LEFT,))
        assert found.judgement is self.other_way
        assert self.asked == (RIGHT, -1.0)
        assert turned(rose, -0.1, told=False).judgement is rose.judgement

    def test_who_fell_rather_fell(self, turned: Callable[..., Claim], claim: Make) -> None:
        fell = claim(code=SILENT, now=0.5, step=True)
        assert turned(fell, -0.1) is fell
        up, down, _, _, moved = self.seen[0]
        assert (up, down) == (RIGHT, LEFT)
        assert moved == pytest.approx(log(2.0))

    def test_who_fell_stands_beside_one_that_rose(
        self, turned: Callable[..., Claim], claim: Make
    ) -> None:
        found = turned(claim(code=SILENT, now=0.5, step=True), 0.0)
        assert (found.code, found.place, found.others) == (RISING, RIGHT, (LEFT,))
        assert found.judgement is self.other_way
        assert self.asked == (RIGHT, 1.0)

    @pytest.mark.parametrize("rise", [0.99, 1.5])
    def test_nothing_falls_by_more_than_99_percent(
        self, turned: Callable[..., Claim], claim: Make, rise: float
    ) -> None:
        turned(claim(code=SILENT, now=rise, step=True), -0.1)
        assert self.seen[0][-1] == pytest.approx(log(100.0))

    @pytest.mark.parametrize(
        ("rise", "step", "lean", "code"),
        [
            # Two servos: a quarter of the place must be gone, or the other rose by a third.
            (0.32, True, -5.9, RISING),
            (0.32, True, -6.1, SILENT),
            (0.34, True, -0.1, SILENT),
            (0.34, False, -5.9, RISING),
            (0.34, False, -6.1, SILENT),
        ],
    )
    def test_no_servo_falls_silent_by_degrees_or_by_less_than_half_a_share(
        self,
        turned: Callable[..., Claim],
        claim: Make,
        rise: float,
        step: bool,
        lean: float,
        code: str,
    ) -> None:
        assert turned(claim(now=rise, step=step), lean).code == code

    @pytest.mark.parametrize(("fall", "code"), [(0.24, RISING), (0.26, SILENT)])
    def test_the_same_of_one_that_fell(
        self, turned: Callable[..., Claim], claim: Make, fall: float, code: str
    ) -> None:
        assert turned(claim(code=SILENT, now=fall, step=True), -3.0).code == code

    def test_what_was_not_set_against_its_mirror_stays(
        self, turned: Callable[..., Claim], claim: Make
    ) -> None:
        for left in (claim(others=(TAIL,)), claim(place=TAIL, others=())):
            assert turned(left, -99.0) is left
        assert self.seen == []


def test_leaning_adds_up_half_of_the_odds_at_both_places(
    case: Make, make_judgement: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Left moved by 0.2, right by 0.05: of a rise by 0.5 in the air 0.6 times as much shows."""
    seen: list[Any] = []

    def moved_since(part: EvidencePart, learn: np.ndarray) -> tuple[float, float] | None:
        assert learn.tolist() == [True] * 5 + [False] * 3
        seen.append(part.at.tolist())
        return [(0.2, 0.1), (0.05, 0.2)][len(seen) - 1]

    monkeypatch.setattr(claims, "moved_since", moved_since)
    made = case(notes=[note(TAIL, 1), note(RIGHT, 2)])
    lean = claims.lean_to_rise(made, LEFT, RIGHT, (TAIL,), make_judgement(), 0.5)
    # 0.3 if it rose, else 0: (0.2^2 - 0.1^2) / (2 x 0.1^2); right 0 if the other rose, else -0.3:
    # (0.35^2 - 0.05^2) / (2 x 0.2^2).
    assert lean == pytest.approx(0.5 * (1.5 + 1.5))
    assert seen == [list(range(1, 8)), list(range(2, 8))]
    # A part that tells nothing adds nothing.
    monkeypatch.setattr(claims, "moved_since", lambda *_: None)
    assert claims.lean_to_rise(made, LEFT, RIGHT, (TAIL,), make_judgement(), 0.5) == 0.0


@pytest.mark.parametrize(
    ("stir", "rest", "told"),
    [
        (0.2, 0.0, True),  # the stir moved as claimed
        (0.11, -0.3, True),
        (0.09, 0.1, False),  # nearer to nothing: of rest alone
        (None, 0.1, False),
    ],
)
def test_moving_currents_have_to_speak_for_a_claim(
    case: Make,
    claim: Make,
    monkeypatch: pytest.MonkeyPatch,
    stir: float | None,
    rest: float,
    told: bool,
) -> None:
    def moved_since(part: EvidencePart, _learn: np.ndarray) -> tuple[float, float] | None:
        seen = {"stir": stir, "rest": rest}.get(part.name)
        return None if seen is None else (seen, 0.05)

    def parts(*_: Any) -> list[EvidencePart]:
        at, y = np.arange(3), np.zeros(3)
        return [
            EvidencePart(name=n, at=at, y=y, se=y, sigma=1.0, response=1.0 if n == "stir" else 0.5)
            for n in ("stir", "rest")
        ]

    monkeypatch.setattr(claims, "moved_since", moved_since)
    monkeypatch.setattr(claims, "place_parts", parts)
    assert claims.moves_so(case(), claim(now=float(np.expm1(0.2)))) is told


class TestLevel:
    @pytest.mark.parametrize(
        ("now", "sure", "level"),
        [
            (0.2999, True, Level.WATCH),
            (0.3, True, Level.GROUND),  # of two servos: 60 % of one
            (0.3, False, Level.WATCH),
        ],
    )
    def test_rising(self, case: Make, claim: Make, now: float, sure: bool, level: Level) -> None:
        assert servos.level_of_claim(case(), claim(now=now, sure=sure)) is level

    @pytest.mark.parametrize(
        ("now", "step", "sure", "level"),
        [
            (0.25, True, True, Level.GROUND),  # of two servos: half of one
            (0.25, True, False, Level.WATCH),
            (0.25, False, True, Level.WATCH),
            (0.24, True, True, Level.WATCH),
        ],
    )
    def test_silent(
        self, case: Make, claim: Make, now: float, step: bool, sure: bool, level: Level
    ) -> None:
        made = claim(code=SILENT, now=now, step=step, sure=sure)
        assert servos.level_of_claim(case(), made) is level


class TestFinding:
    @pytest.fixture
    def found(
        self, case: Make, monkeypatch: pytest.MonkeyPatch
    ) -> Callable[..., FindingDraft | None]:
        def found(
            claim: Claim,
            amps: Sequence[float] = (9.0, 2.0, 2.0, 2.0, 2.0, 8.0, 2.4, 2.6, 2.8),
            *,
            likely: tuple[Suspect, ...] = (),
            step_a: float = 0.01,
            **more: Any,
        ) -> FindingDraft | None:
            self.asked: list[Any] = []

            def suspects(_case: AircraftHistory, *asked: Any) -> tuple[Suspect, ...]:
                self.asked.append(asked)
                return likely

            monkeypatch.setattr(servos, "suspects", suspects)
            features = [{(claim.place, "stir_mean_a"): a} for a in amps]
            return servos.servo_finding(case(features=features, step_a=step_a, **more), claim)

        return found

    def test_numbers_of_a_rise(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        f = found(claim(flights=9, now=0.25, first=1))
        assert f is not None
        assert f.change is not None
        assert (f.code, f.level, f.since_flight) == (RISING, Level.WATCH, "6")
        assert "25 % more than usual, measured against right wing" in f.title
        assert f.title.endswith("about 50 % of one servo's share")
        # Mean of flights 1 to 4, and of the last three.
        assert (f.change.before, f.change.now) == pytest.approx((2.0, 2.6))
        assert (f.change.rise, f.change.limit) == (50.0, 60.0)
        assert f.evidence["node_rise_pct"] == 25.0
        assert f.evidence["servo_share_pct"] == 50.0
        assert (f.evidence["servos"], f.evidence["servos_known"]) == (2, "yes")
        assert (f.evidence["usual_stir_a"], f.evidence["stir_a"]) == pytest.approx((2.0, 2.6))
        assert self.asked == [(LEFT, 5, 0.25)]
        assert "suspect_1" not in f.evidence
        assert "one control after the other, each alone for 5 s" in f.bench

    def test_the_servos_that_it_is(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        aileron = Suspect(control="left aileron", outputs=("3",), chance=0.9, rise=0.4)
        flap = Suspect(control="flap", chance=0.1)
        f = found(claim(flights=9, now=0.25), likely=(aileron, flap))
        assert f is not None
        assert (f.servo, f.bench) == ("left aileron (output 3)", "")
        assert f.evidence["suspect_1"] == "left aileron (output 3)"
        assert (f.evidence["suspect_1_pct"], f.evidence["suspect_2_pct"]) == (90.0, 10.0)
        assert f.evidence["group_rise_pct"] == pytest.approx(40.0)

    def test_where_no_one_is_sure_the_stir_that_tells_them_apart_comes_next(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        likely = (
            Suspect(control="aileron", outputs=("1", "2"), chance=0.6),
            Suspect(control="flap", outputs=("3",), chance=0.3),
            Suspect(control="gear", chance=0.04),
        )
        f = found(claim(flights=9, now=0.25), likely=likely)
        assert f is not None
        assert f.servo is None
        assert f.evidence["suspect_1"] == "aileron (outputs 1, 2)"
        assert f.evidence["suspect_2_pct"] == pytest.approx(30.0)
        assert "suspect_3" not in f.evidence
        assert f.bench.startswith("With a log running move the aileron, then the flap, each alone")

    def test_numbers_of_a_silent_one(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        f = found(claim(code=SILENT, flights=9, now=0.5, sure=True, step=True))
        assert f is not None
        assert f.change is not None
        assert (f.code, f.level) == (SILENT, Level.GROUND)
        assert "50 % less than usual" in f.title
        assert "share" not in f.title
        assert (f.change.rise, f.change.limit) == (-100.0, None)
        assert (f.evidence["node_rise_pct"], f.evidence["servo_share_pct"]) == (-50.0, None)
        assert self.asked[0][2] == -0.5
        f = found(claim(code=SILENT, flights=9, now=0.5))
        assert f is not None
        assert f.change is not None
        assert (f.level, f.change.limit) == (Level.WATCH, None)

    def test_grounds_without_a_further_limit(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        f = found(claim(flights=9, now=0.5, sure=True))
        assert f is not None
        assert f.change is not None
        assert (f.level, f.change.limit) == (Level.GROUND, None)

    @pytest.mark.parametrize(("step_a", "told"), [(0.25, True), (0.2501, False)])
    def test_two_steps_of_the_sensor_at_the_least(
        self, found: Callable[..., FindingDraft | None], claim: Make, step_a: float, told: bool
    ) -> None:
        # 25 % of 2 A.
        f = found(claim(flights=9, now=0.25, first=1), step_a=step_a)
        assert (f is not None) is told

    def test_without_a_stir_from_before(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        nan = float("nan")
        f = found(claim(flights=9, now=0.25), [nan] * 5 + [2.0] * 4, step_a=99.0)
        assert f is not None
        assert f.change is not None
        assert (f.change.before, f.change.now) == (None, 2.0)

    def test_level_now_is_of_flights_with_the_change_alone(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        f = found(claim(flights=9, onset=7, now=0.25), [2.0] * 7 + [3.0, 4.0])
        assert f is not None
        assert f.evidence["stir_a"] == 3.5

    def test_servos_that_are_assumed_are_said_to_be(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        f = found(claim(flights=9, now=0.25, others=()), aircraft=Aircraft())
        assert f is not None
        assert f.title.endswith("(assuming 4 servos there)")
        assert (f.evidence["servos"], f.evidence["servos_known"]) == (4, "assumed")
        assert f.evidence["compared_with"] == "its own earlier flights"
        f = found(claim(flights=9, now=0.25, others=(RIGHT, TAIL)))
        assert f is not None
        assert f.evidence["compared_with"] == "right wing and tail"


class TestSensorFinding:
    @pytest.fixture
    def found(
        self, case: Make, monkeypatch: pytest.MonkeyPatch
    ) -> Callable[..., FindingDraft | None]:
        def found(claim: Claim, moved: str | None) -> FindingDraft | None:
            self.asked: list[Any] = []

            def sensor_odds(
                _case: AircraftHistory, place: str, first: int, since: int, by: float
            ) -> float:
                self.asked.append((place, first, since, round(exp(by), 6)))
                return 3.1 if place == moved else 3.0

            monkeypatch.setattr(claims, "sensor_odds", sensor_odds)
            monkeypatch.setattr(claims, "read_more", lambda _, claim, __: claim.log_change)
            return servos.sensor_finding(case(), claim)

        return found

    @pytest.mark.parametrize(
        ("code", "moved", "word", "rise"),
        [
            (RISING, LEFT, "25 % more", 25.0),
            (RISING, RIGHT, "20 % less", -20.0),
            (SILENT, LEFT, "25 % less", -25.0),
            (SILENT, RIGHT, "33 % more", 100 / 3),
        ],
    )
    def test_its_own_or_the_mirrors(
        self,
        found: Callable[..., FindingDraft | None],
        claim: Make,
        code: str,
        moved: str,
        word: str,
        rise: float,
    ) -> None:
        f = found(claim(code=code, now=0.25, first=1), moved)
        assert f is not None
        assert f.change is not None
        assert (f.code, f.place, f.level) == ("capacity-mismatch", moved, Level.WATCH)
        assert word in f.title
        assert f.change.rise == pytest.approx(rise)
        by = 1.25 if code == RISING else 0.75
        asked = [(LEFT, 1, 5, by), (RIGHT, 1, 5, round(1 / by, 6))]
        assert self.asked == asked

    def test_neither(self, found: Callable[..., FindingDraft | None], claim: Make) -> None:
        assert found(claim(), None) is None
        # Several others: none of them is suspected.
        assert found(claim(others=(RIGHT, TAIL)), RIGHT) is None
        assert len(self.asked) == 1

    def test_no_current_falls_by_more_than_99_percent(
        self, found: Callable[..., FindingDraft | None], claim: Make
    ) -> None:
        found(claim(code=SILENT, now=1.2, others=()), None)
        assert self.asked[0][-1] == pytest.approx(0.01)


@pytest.mark.parametrize(("code", "sign"), [(RISING, 1.0), (SILENT, -1.0)])
def test_trend_is_per_servo(case: Make, make_judgement: Make, code: str, sign: float) -> None:
    trend = servos.trend_of_claim(case(), code, LEFT, make_judgement(now=0.25))
    assert (trend.record().value[-1], trend.watch, trend.ground) == (sign * 50.0, 25.0, 60.0)
    assert (trend.code, trend.unit) == (code, "%")


class TestJudgeServos:
    """All places together: charts by place and direction, heating and sensors by a word."""

    @pytest.fixture
    def judged(self, case: Make, monkeypatch: pytest.MonkeyPatch) -> Callable[..., JudgedAcross]:
        def judged(
            told: Callable[[str, float, float], Judgement | None],
            *,
            hot: str | None = None,
            drifts: str | None = None,
            places: Sequence[str] = ALL,
            aircraft: Aircraft = CRAFT,
        ) -> JudgedAcross:
            self.heating: list[Any] = []

            def judge_heating(
                made: AircraftHistory,
                place: str,
                parts: Sequence[EvidencePart],
                sound: tuple[str, ...],
                rising: bool,
                _found: JudgedAcross,
            ) -> FindingDraft | None:
                self.heating.append((place, len(parts), sound, rising))
                if place != hot:
                    return None
                return FindingDraft(code="servo-heating", level=Level.WATCH, place=place, title="")

            def chart(place: str, **asked: Any) -> Judgement | None:
                # The scatter tells what it is set against: 0.015 for the mirror.
                return told(place, asked["sign"], asked["parts"][0].sigma)

            monkeypatch.setattr(servos, "judge_heating", judge_heating)
            monkeypatch.setattr(claims, "sensor_odds", lambda _, p, *__: 9.0 * (p == drifts))
            monkeypatch.setattr(claims, "lean_to_rise", lambda *_: 0.0)
            monkeypatch.setattr(claims, "moves_so", lambda *_: True)
            monkeypatch.setattr(claims, "seen_to_move", lambda *_: [])
            monkeypatch.setattr(claims, "read_more", lambda _, claim, __: claim.log_change)
            monkeypatch.setattr(servos, "judge_rest", lambda *_: None)
            features = [{(p, "stir_mean_a"): 2.0 for p in places}] * 8
            return servos.judge_servos(
                case(places, told=chart, features=features, aircraft=aircraft)
            )

        return judged

    def test_no_place(self, judged: Callable[..., JudgedAcross]) -> None:
        found = judged(lambda *_: None, places=("pack 1", "pack 2"), aircraft=Aircraft())
        assert len(found.not_judged) == 1
        assert "servo currents" in found.not_judged[0].why

    @pytest.mark.parametrize(
        ("now", "drifts", "code", "expected"),
        [
            (0.06, LEFT, RISING, [("capacity-mismatch", LEFT, 6.0)]),
            (0.06, LEFT, SILENT, [("capacity-mismatch", LEFT, -6.0)]),
            # It reads more against the other: the other reads less.
            (0.06, RIGHT, RISING, [("capacity-mismatch", RIGHT, -6.0)]),
            (0.04, LEFT, RISING, []),  # too little
            (0.06, None, RISING, []),  # neither drop nor total speaks for a sensor
        ],
    )
    def test_a_sensor_drifts_by_less_than_a_servos_share(
        self,
        judged: Callable[..., JudgedAcross],
        make_judgement: Make,
        now: float,
        drifts: str | None,
        code: str,
        expected: list[tuple[str, str, float]],
    ) -> None:
        def told(place: str, sign: float, _sigma: float) -> Judgement | None:
            own = place == LEFT and sign == (1.0 if code == RISING else -1.0)
            return make_judgement(now=now) if own else make_judgement(onset=None, now=0.0)

        found = judged(told, drifts=drifts)
        seen = [(d.code, d.place, d.change.rise) for d in found.drafts if d.change is not None]
        assert seen == [(c, p, pytest.approx(r)) for c, p, r in expected]

    def test_all_well(self, judged: Callable[..., JudgedAcross], make_judgement: Make) -> None:
        found = judged(lambda *_: make_judgement(onset=None, now=0.0))
        assert found.drafts == []
        assert [(t.code, t.place) for t in found.trends] == [(RISING, p) for p in ALL]
        assert self.heating == [
            (LEFT, 1, (RIGHT, TAIL), False),
            (RIGHT, 1, (LEFT, TAIL), False),
            (TAIL, 1, (LEFT, RIGHT), False),
        ]
        assert judged(lambda *_: None).trends == []

    def test_the_strongest_is_named_first_and_is_none_to_compare_with(
        self, judged: Callable[..., JudgedAcross], make_judgement: Make
    ) -> None:
        # Left rose: its mirror seems to have fallen, the tail as well, if less.
        rose = make_judgement(now=0.3, charted=lambda: np.full(8, 9.0))
        fell = make_judgement(now=0.3, step=True, charted=lambda: np.full(8, 8.0))

        def told(place: str, sign: float, sigma: float) -> Judgement | None:
            if (place, sign) == (LEFT, 1.0):
                return rose
            return fell if (place, sign, sigma) == (RIGHT, -1.0, 0.015) else None

        found = judged(told)
        assert [(f.code, f.place) for f in found.drafts] == [(RISING, LEFT)]
        # Right is set against the tail now.
        assert self.heating == [
            (LEFT, 1, (RIGHT, TAIL), True),
            (RIGHT, 1, (TAIL,), False),
            (TAIL, 1, (RIGHT,), False),
        ]
        assert [(t.code, t.place) for t in found.trends] == [(RISING, LEFT)]

    def test_strength_is_the_chart_over_its_limit(
        self, judged: Callable[..., JudgedAcross], make_judgement: Make
    ) -> None:
        # Highest sums 9 of 9 and 8 of 4: the tail is named first; then left has no like to stand
        # against, but right.
        order: list[str] = []

        def told(place: str, sign: float, sigma: float) -> Judgement | None:
            order.append(place)
            chart, limit = (9.0, 9.0) if place == LEFT else (8.0, 4.0)
            if sign > 0 and place in (LEFT, TAIL):
                made: Judgement = make_judgement(
                    now=0.3, charted=lambda: np.r_[[0.0] * 4, chart, [0.0] * 3], limit=limit
                )
                return made
            return None

        found = judged(told)
        assert [f.place for f in found.drafts] == [LEFT, TAIL]
        # First round: all three, both ways; then left and right stand against each other as before.
        assert order == [LEFT, LEFT, RIGHT, RIGHT, TAIL, TAIL, TAIL, TAIL]

    def test_a_hot_servo_is_told_instead(
        self, judged: Callable[..., JudgedAcross], make_judgement: Make
    ) -> None:
        def told(place: str, sign: float, _sigma: float) -> Judgement | None:
            found: Judgement | None = (
                make_judgement(now=0.3) if (place, sign) == (LEFT, 1.0) else None
            )
            return found

        assert [f.code for f in judged(told, hot=LEFT).drafts] == ["servo-heating"]
        assert [f.code for f in judged(told, hot=TAIL).drafts] == [RISING, "servo-heating"]

    def test_a_silent_servo_does_not_heat(
        self, judged: Callable[..., JudgedAcross], make_judgement: Make
    ) -> None:
        def told(place: str, sign: float, _sigma: float) -> Judgement | None:
            found: Judgement | None = (
                make_judgement(now=0.3, step=True) if (place, sign) == (TAIL, -1.0) else None
            )
            return found

        found = judged(told, hot=TAIL)
        assert [f.code for f in found.drafts] == [SILENT]
        assert [place for place, *_ in self.heating] == [LEFT, RIGHT]
        assert [t.code for t in found.trends] == [SILENT]

    def test_one_place_alone_has_nothing_to_heat_against(
        self, judged: Callable[..., JudgedAcross], make_judgement: Make
    ) -> None:
        found = judged(
            lambda _p, sign, _s: make_judgement(now=0.3) if sign > 0 else None, places=(TAIL,)
        )
        assert [f.code for f in found.drafts] == [RISING]
        assert self.heating == []
