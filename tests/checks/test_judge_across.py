"""The judging core on seasons made by hand: what is found, since when, how much, what is not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.checks.across import judge, replay
from telemetry.results import Finding, History, HistoryFlight, Level, NoteMark
from telemetry.trends.measures import Blocks, Measures, ReportedFinding
from tests.trends.conftest import RESTING

Make = Callable[..., Any]

PLACES = ("left wing", "right wing", "tail")
CRAFT = Aircraft(
    name="Tern (invented)",
    bus="bus",
    nodes=(
        Node(name="left wing", fed_from="bus", mirror="right wing", servos=4),
        Node(name="right wing", fed_from="bus", servos=4),
        Node(name="tail", fed_from="bus", servos=3),
    ),
)


def grows(since: int, each: float) -> Callable[[int], float]:
    """Factor 1, growing by ``each`` a flight from flight ``since`` on."""
    return lambda k: 1.0 + each * max(0, k - since + 1)


def only(history: History, code: str) -> Finding:
    found = [f for f in history.findings if f.code == code]
    assert len(found) == 1, [(f.code, f.place) for f in history.findings]
    return found[0]


def test_a_healthy_season_brings_nothing(make_season: Make) -> None:
    for seed in range(6):
        history = judge(make_season(seed), aircraft=CRAFT)
        assert history.findings == ()
        assert history.verdict is Level.CLEAR
        assert {t.code for t in history.trends} >= {
            "servo-current-rising",
            "branch-resistance-rising",
        }


@pytest.mark.parametrize("place", ["left wing", "right wing", "tail"])
def test_a_rising_servo_is_found_at_its_place(make_season: Make, place: str) -> None:
    """One servo of four draws 12 % more each flight: its node 3 %."""
    flights = make_season(3, current={place: grows(9, 0.03)})
    history = judge(flights, aircraft=CRAFT)
    found = only(history, "servo-current-rising")
    assert (found.place, len(history.findings)) == (place, 1)
    assert found.level is Level.GROUND
    assert found.since_flight in {"7", "8", "9", "10", "11"}
    assert found.change is not None
    servos = 3 if place == "tail" else 4
    # Truth: the node draws 36 % more in flight 20; a share is that times the servos.
    assert found.change.rise == pytest.approx(36.0 * servos, rel=0.2)
    assert found.change.low < 36.0 * servos < found.change.high
    assert found.change.per_flight == pytest.approx(3.0 * servos, rel=0.3)
    assert found.explanations
    assert found.confirm
    assert found.advice


def test_it_is_found_soon_after_it_passes_the_limit(make_season: Make) -> None:
    flights = make_season(4, current={"left wing": grows(9, 0.03)})
    hits = [k for k in range(4, 21) if judge(flights[:k], aircraft=CRAFT).findings]
    # 25 % of a servo's share is 6.25 % of the node: passed in flight 11.
    assert 10 <= hits[0] <= 12
    assert hits == list(range(hits[0], 21))
    early = judge(flights[: hits[0]], aircraft=CRAFT).findings[0]
    assert early.level is Level.WATCH
    # The rest shows it first here; one flight later the stirs do, whose share has a limit.
    later = judge(flights[: hits[0] + 1], aircraft=CRAFT).findings[0]
    assert later.change is not None
    assert (later.level, later.change.limit) == (Level.WATCH, 60.0)


def test_when_the_next_limit_will_be_reached(make_season: Make) -> None:
    flights = make_season(5, current={"left wing": grows(9, 0.01)}, scatter=0.008)
    change = only(judge(flights, aircraft=CRAFT), "servo-current-rising").change
    assert change is not None
    # 12 flights at 4 % of a share each: 48 %; the limit of 60 % is three flights on.
    assert change.flights_to_limit_low is not None
    assert change.flights_to_limit is not None
    assert change.flights_to_limit_high is not None
    assert change.flights_to_limit_low <= 3 <= change.flights_to_limit_high
    assert 1 <= change.flights_to_limit <= 6


def test_a_silent_servo_steps_down(make_season: Make) -> None:
    flights = make_season(6, current={"right wing": lambda k: 0.75 if k >= 12 else 1.0})
    hits = [k for k in range(4, 21) if judge(flights[:k], aircraft=CRAFT).findings]
    assert hits[0] in (13, 14)
    found = only(judge(flights, aircraft=CRAFT), "servo-silent")
    assert (found.place, found.level, found.since_flight) == ("right wing", Level.GROUND, "12")


def test_the_mirror_of_a_silent_servo_is_not_accused_without_other_places(
    make_season: Make,
) -> None:
    flights = make_season(
        7,
        places=("left wing", "right wing"),
        current={"left wing": lambda k: 0.75 if k >= 11 else 1.0},
    )
    history = judge(flights, aircraft=CRAFT)
    assert [(f.code, f.place) for f in history.findings] == [("servo-silent", "left wing")]


def test_a_pilot_who_stirs_ever_harder_is_no_servo(make_season: Make) -> None:
    for seed in range(4):
        flights = make_season(seed, vigour_of=lambda k: 1.0 + 0.06 * k)
        assert judge(flights, aircraft=CRAFT).findings == ()


def test_wings_that_rest_unlike_answer_to_another_hand_unlike(
    make_season: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(RESTING, "left wing", 0.6)
    for seed in range(4):
        flights = make_season(
            seed, flights=30, scatter=0.01, vigour_of=lambda k: 0.5 if k < 11 else 1.5
        )
        assert judge(flights, aircraft=CRAFT).findings == ()


def test_another_hand_moves_a_tail_the_more_the_more_it_moves_all(make_season: Make) -> None:
    def season(vigour: Callable[[int], float]) -> list[Measures]:
        """From flight 11 on the tail draws a third more wherever it moves, no more at rest."""
        flights = make_season(5, flights=30, vigour_of=vigour)
        return [m if k < 10 else replace(m, **moved(m)) for k, m in enumerate(flights)]

    def moved(m: Measures) -> dict[str, Blocks]:
        out = {}
        for name, b in (("stir", m.stir), ("air", m.air)):
            assert b is not None
            more = b.amps["tail"] / 3.0
            both = {"tail": b.amps["tail"] + more, "bus": b.amps["bus"] + more}
            out[name] = Blocks(block_s=b.block_s, amps={**b.amps, **both})
        return out

    found = only(judge(season(lambda _k: 1.0), aircraft=CRAFT), "servo-current-rising")
    assert found.place == "tail"
    other = judge(season(lambda k: 1.0 if k < 11 else 1.8), aircraft=CRAFT)
    assert other.findings == ()


def test_slower_telemetry_is_no_fault(make_season: Make) -> None:
    flights = make_season(8)[:10] + make_season(9, update_s=1.0, scatter=0.03)[10:]
    assert judge(flights, aircraft=CRAFT).findings == ()


def test_a_servo_that_heats_within_the_flight(make_season: Make) -> None:
    flights = make_season(10, warm={"left wing": lambda k: 0.03 * max(0, k - 9)})
    found = only(judge(flights, aircraft=CRAFT), "servo-heating")
    assert found.place == "left wing"
    assert found.change is not None
    assert found.change.rise > 60.0


@pytest.mark.parametrize("place", ["left wing", "tail"])
def test_a_growing_connector(make_season: Make, place: str) -> None:
    flights = make_season(11, lead={place: lambda k: 5.0 * max(0, k - 9)})
    hits = [k for k in range(4, 21) if judge(flights[:k], aircraft=CRAFT).findings]
    assert hits[0] <= 12  # +15 mOhm
    history = judge(flights, aircraft=CRAFT)
    found = only(history, "branch-resistance-rising")
    assert (found.place, found.level) == (place, Level.GROUND)
    assert found.change is not None
    assert found.change.rise == pytest.approx(55.0, abs=6.0)
    assert found.change.before == pytest.approx({"left wing": 32, "tail": 45}[place], abs=3)
    assert len(history.findings) == 1


def test_a_small_rise_of_a_lead_is_no_finding(make_season: Make) -> None:
    flights = make_season(12, lead={"tail": lambda k: 6.0 if k > 8 else 0.0})
    history = judge(flights, aircraft=CRAFT)
    assert history.findings == ()
    trend = next(
        t for t in history.trends if (t.code, t.place) == ("branch-resistance-rising", "tail")
    )
    assert trend.since is not None  # established, but under the limit of 8 mOhm


def test_a_single_flight_never_tells(make_season: Make) -> None:
    for factor in (0.5, 2.0):
        flights = make_season(13, current={"tail": lambda k, f=factor: f if k == 14 else 1.0})
        for k in range(4, 21):
            assert judge(flights[:k], aircraft=CRAFT).findings == ()


def test_a_repair_closes_the_finding_and_starts_a_new_baseline(make_season: Make) -> None:
    worn = grows(7, 0.03)
    flights = make_season(14, current={"left wing": lambda k: worn(k) if k < 13 else 1.0})
    note = NoteMark(
        kind="repaired", place="left wing", text="servo 2", date="2026-06-01", before=12
    )
    assert judge(flights[:12], aircraft=CRAFT).findings
    for k in range(13, 21):
        assert judge(flights[:k], [note], CRAFT).findings == ()
    # Only repaired and changed restart a baseline, and only at their place.
    for other in (
        NoteMark(kind="checked", place="left wing", text="", date="2026-06-01", before=12),
        NoteMark(kind="repaired", place="tail", text="", date="2026-06-01", before=12),
    ):
        assert judge(flights[:12], [other], CRAFT).findings


def test_a_fault_after_a_repair_is_found_again(make_season: Make) -> None:
    worn, again = grows(5, 0.04), grows(17, 0.04)
    flights = make_season(
        15, flights=26, current={"tail": lambda k: worn(k) if k < 11 else again(k)}
    )
    note = NoteMark(kind="changed", place="tail", text="all servos", date="2026-06-01", before=10)
    found = only(judge(flights, [note], CRAFT), "servo-current-rising")
    assert found.place == "tail"
    assert int(found.since_flight or 0) >= 14


def test_unnamed_nodes_without_a_mirror(make_season: Make) -> None:
    """Without a profile the servos of a node are assumed, and that is said."""
    flights = make_season(16, current={"tail": grows(9, 0.03)})
    history = judge(flights)
    found = only(history, "servo-current-rising")
    assert found.place == "tail"
    assert found.evidence["servos_known"] == "assumed"
    assert "assuming 4 servos" in found.title


def test_moments_of_lost_contact_are_counted(make_season: Make) -> None:
    flights = make_season(
        17,
        events={
            ("left wing", "unknown"): lambda k: 4 if k >= 12 else 0,
            ("tail", "load"): lambda _k: 30,
        },
    )
    found = only(judge(flights, aircraft=CRAFT), "contact-intermittent")
    assert (found.place, found.since_flight) == ("left wing", "12")


def test_what_shakes_all_places_alike_is_no_contact(make_season: Make) -> None:
    flights = make_season(
        18,
        events={
            (p, "unknown"): (lambda k: 3 if k >= 12 else 0)
            for p in ("left wing", "right wing", "tail")
        },
    )
    assert judge(flights, aircraft=CRAFT).findings == ()


def pack_features(**of: Callable[[int], float]) -> dict[tuple[str, str], Callable[[int], float]]:
    return {
        (f"pack {name[-1]}", name[:-2]): f  # "share_1" -> ("pack 1", "share")
        for name, f in of.items()
    }


def wobble(seed: int, size: float) -> Callable[[int], float]:
    x = size * np.random.default_rng(seed).standard_normal(64)
    return lambda k: float(x[k])


def test_an_ageing_pack_against_the_other(make_season: Make) -> None:
    a, b, cold = wobble(1, 0.6), wobble(2, 0.6), wobble(3, 3.0)
    flights = make_season(
        19,
        features=pack_features(
            source_mohm_1=lambda k: 30 + a(k) + cold(k),
            source_mohm_2=lambda k: (31 + b(k) + cold(k)) * (1 + 0.08 * max(0, k - 9)),
        ),
    )
    found = only(judge(flights, aircraft=CRAFT), "source-resistance-rising")
    assert found.place == "pack 2"
    assert found.change is not None
    assert found.change.rise == pytest.approx(88.0, rel=0.25)


def test_a_cold_day_is_no_ageing(make_season: Make) -> None:
    a, b = wobble(4, 0.6), wobble(5, 0.6)
    flights = make_season(
        20,
        features=pack_features(
            source_mohm_1=lambda k: (30 + a(k)) * (1.5 if k in (12, 13, 14) else 1.0),
            source_mohm_2=lambda k: (31 + b(k)) * (1.5 if k in (12, 13, 14) else 1.0),
        ),
    )
    for k in range(4, 21):
        assert judge(flights[:k], aircraft=CRAFT).findings == ()


def test_a_pack_that_gave_nothing(make_season: Make) -> None:
    a = wobble(6, 0.02)
    flights = make_season(
        21,
        features=pack_features(
            share_1=lambda k: 0.0 if k == 15 else 0.5 + a(k),
            share_2=lambda k: 1.0 if k == 15 else 0.5 - a(k),
        ),
    )
    now = only(judge(flights[:15], aircraft=CRAFT), "pack-out")
    assert (now.place, now.level, now.since_flight) == ("pack 1", Level.GROUND, "15")
    later = only(replay(flights, aircraft=CRAFT), "pack-out")
    assert (later.level, later.since_flight, later.last_flight) == (Level.GROUND, "15", "15")
    note = NoteMark(kind="repaired", place="pack 1", text="plug", date="2026-07-01", before=15)
    assert replay(flights, [note], CRAFT).open == ()


def test_share_that_moved_for_good(make_season: Make) -> None:
    a = wobble(7, 0.02)
    flights = make_season(
        22,
        features=pack_features(
            share_1=lambda k: (0.5 if k < 12 else 0.25) + a(k),
            share_2=lambda k: (0.5 if k < 12 else 0.75) - a(k),
        ),
    )
    found = only(judge(flights, aircraft=CRAFT), "pack-share")
    assert found.place == "pack 1"
    assert found.change is not None
    assert found.change.now == pytest.approx(25.0, abs=4.0)


def test_counter_that_moved_against_the_current(make_season: Make) -> None:
    a = wobble(8, 0.01)
    flights = make_season(
        23, features={("bus", "counter_ratio"): lambda k: (1.0 if k < 11 else 1.2) + a(k)}
    )
    found = only(judge(flights, aircraft=CRAFT), "capacity-mismatch")
    assert (found.place, found.level) == ("bus", Level.WATCH)


def test_offset_of_a_sensor_is_no_lead(make_season: Make) -> None:
    """A sensor that reads 0.12 V low drops as much at rest as under load."""
    a, b = wobble(9, 0.003), wobble(10, 0.003)
    step: Callable[[int], float] = lambda k: 0.12 if k >= 11 else 0.0  # noqa: E731
    flights = make_season(
        24,
        offset={"tail": step},
        features={
            ("tail", "offset_v"): lambda k: a(k) + step(k),
            ("tail", "rest_v"): lambda k: 7.39 + b(k) - step(k),
            ("bus", "rest_v"): lambda _k: 7.4,
            ("tail", "branch_mohm"): lambda k: 45.0 + 200 * a(k),
        },
    )
    history = judge(flights, aircraft=CRAFT)
    assert [(f.code, f.place) for f in history.findings] == [("sensor-offset", "tail")]


def test_flights_keep_their_names(make_season: Make) -> None:
    flights = make_season(25, current={"tail": grows(9, 0.04)})
    listed = [
        HistoryFlight(id=f"id-{k}", start=f"2026-05-{k:02d}", file=m.file)
        for k, m in enumerate(flights, 1)
    ]
    history = judge(flights, aircraft=CRAFT, name="tern", listed=listed)
    assert history.name == "tern"
    assert [f.id for f in history.flights] == [x.id for x in listed]
    assert history.findings[0].since_flight in {"id-8", "id-9", "id-10", "id-11"}
    assert len(history.series("tail", "stir_mean_a")) == 20
    assert history.series("tail", "no such feature") == (None,) * 20


def test_few_flights_judge_nothing(make_season: Make) -> None:
    flights = make_season(26, current={"tail": grows(1, 0.5)})
    for k in range(4):
        assert judge(flights[:k], aircraft=CRAFT).findings == ()


def test_flights_without_a_stir_are_judged_by_the_air(make_season: Make) -> None:
    flights = make_season(27, current={"right wing": grows(9, 0.03)}, stir=lambda k: k % 3 == 0)
    assert only(judge(flights, aircraft=CRAFT), "servo-current-rising").place == "right wing"


def test_a_log_with_a_total_alone_says_what_it_cannot_judge(make_season: Make) -> None:
    flights = make_season(28, places=())
    history = judge(flights)
    assert any("leads" in line for line in history.not_judged)


def test_a_repair_that_did_not_cure_leaves_the_finding(make_season: Make) -> None:
    flights = make_season(29, current={"left wing": grows(7, 0.03)})
    note = NoteMark(kind="repaired", place="left wing", text="", date="2026-06-01", before=13)
    # One flight after the repair tells nothing yet; two do.
    assert judge(flights[:14], [note], CRAFT).findings == ()
    found = only(judge(flights[:15], [note], CRAFT), "servo-current-rising")
    assert found.place == "left wing"
    assert "did not bring it back" in found.title
    # Other servos may draw what they like: "changed" takes the new level for usual.
    changed = NoteMark(kind="changed", place="left wing", text="", date="2026-06-01", before=13)
    level = make_season(30, current={"left wing": lambda k: 1.2 if k >= 8 else 1.0})
    assert judge(level, [changed], CRAFT).findings == ()
    assert judge(level, [], CRAFT).findings


def test_a_repair_on_one_side_hides_nothing_on_the_other(make_season: Make) -> None:
    flights = make_season(31, current={"right wing": grows(6, 0.04)}, scatter=0.01)
    note = NoteMark(kind="repaired", place="left wing", text="", date="2026-06-01", before=14)
    for k in range(15, 21):
        found = only(judge(flights[:k], [note], CRAFT), "servo-current-rising")
        assert found.place == "right wing"


def test_a_unit_that_went_down_needs_no_statistics(make_season: Make) -> None:
    flights = make_season(32)
    lost = ReportedFinding("brownout", "bus", Level.GROUND, lasts=True)
    down = [replace(m, reported=(lost,) if k == 7 else ()) for k, m in enumerate(flights)]
    now = only(judge(down[:8], aircraft=CRAFT), "supply-dips")
    assert (now.place, now.level, now.since_flight) == ("bus", Level.GROUND, "8")
    assert only(replay(down, aircraft=CRAFT), "brownout").level is Level.GROUND


def test_a_drop_that_strays_to_one_side(make_season: Make) -> None:
    a, b = wobble(11, 0.01), wobble(12, 0.01)
    flights = make_season(
        33,
        features={
            ("tail", "drop_tail_v"): lambda k: 0.09 + a(k) + (0.6 if k >= 12 else 0.0),
            ("tail", "drop_tail_other_v"): lambda k: 0.09 + b(k),
            ("left wing", "drop_tail_v"): lambda k: 0.09 + b(k),
            ("left wing", "drop_tail_other_v"): lambda k: 0.09 + a(k),
        },
    )
    found = only(judge(flights, aircraft=CRAFT), "contact-intermittent")
    assert (found.place, found.since_flight, found.level) == ("tail", "12", Level.GROUND)


def test_a_current_sensor_that_drifted_is_no_servo(make_season: Make) -> None:
    """More current at one node without more in the total and with less drop per amp."""
    flights = []
    for k, m in enumerate(make_season(34)):
        gain = 1.2 if k >= 10 else 1.0
        blocks = {}
        for part in ("stir", "air"):
            old = getattr(m, part)
            amps = {**old.amps, "tail": old.amps["tail"] * gain}
            blocks[part] = replace(old, amps=amps)
        rows = tuple(
            replace(f, value=f.value * gain, low=None, high=None)
            if f.place == "tail" and f.unit == "A"
            else f
            for f in m.features
        )
        flights.append(replace(m, features=rows, **blocks))
    found = judge(flights, aircraft=CRAFT).findings
    assert [(f.code, f.place, f.level) for f in found] == [
        ("capacity-mismatch", "tail", Level.WATCH)
    ]
    assert "sensor" in found[0].title


def test_a_thousand_flights_are_judged(make_season: Make) -> None:
    flights = make_season(35, flights=120) * 9
    assert judge(flights, aircraft=CRAFT).verdict is Level.CLEAR


def test_slower_telemetry_that_makes_every_drop_stray_is_no_contact(make_season: Make) -> None:
    """All drops stray more, and more upwards, from a flight on: no contact did that."""
    wobbles = {p: (wobble(20 + i, 0.008), wobble(30 + i, 0.008)) for i, p in enumerate(PLACES)}
    features = {}
    for p, (a, b) in wobbles.items():
        features[p, "drop_tail_v"] = lambda k, a=a: 0.10 + a(k) + (0.25 if k >= 12 else 0.0)
        features[p, "drop_tail_other_v"] = lambda k, b=b: 0.09 + b(k) + (0.06 if k >= 12 else 0.0)
    flights = make_season(36, features=features)
    for k in range(4, 21):
        assert judge(flights[:k], aircraft=CRAFT).findings == ()


def silent(*flights: int) -> Callable[[int], float]:
    """One of four servos gives up in these flights: about a quarter of the current is gone."""
    return lambda k: 0.75 if k in flights else 1.0


@pytest.mark.parametrize("places", [PLACES, ("left wing", "right wing")])
def test_a_servo_that_fell_silent_and_came_back_is_as_grave_as_it_was(
    make_season: Make, places: tuple[str, ...]
) -> None:
    flights = make_season(
        37, places=places, current={"left wing": silent(8, 9, 10, 11)}, scatter=0.01
    )
    then = only(judge(flights[:11], aircraft=CRAFT), "servo-silent")
    assert (then.place, then.level) == ("left wing", Level.GROUND)
    for k in (12, 16, 20):
        found = only(replay(flights[:k], aircraft=CRAFT), "servo-silent")
        assert (found.place, found.level, found.state) == ("left wing", Level.GROUND, "open")
        assert found.since_flight == then.since_flight
    assert found.title.endswith(", but no repair is noted")
    assert found.evidence["flights_since"] == 21 - int(then.since_flight or 0)
    assert found.last_flight in {"11", "12", "13", "14"}


def test_a_note_elsewhere_does_not_close_a_silent_servo(make_season: Make) -> None:
    flights = make_season(
        38,
        places=("left wing", "right wing"),
        current={"left wing": lambda k: 0.75 if k >= 8 else 1.0},
        scatter=0.01,
    )

    def note(place: str | None, kind: str = "repaired", before: int = 14) -> NoteMark:
        return NoteMark(kind=kind, place=place, text="", date="2026-06-01", before=before)

    for other in (note("right wing"), note("tail"), note(None), note("left wing", "checked")):
        found = only(judge(flights, [other], CRAFT), "servo-silent")
        assert (found.place, found.level) == ("left wing", Level.GROUND)
    for own in (note("left wing", "changed"), note("all", "changed")):
        assert judge(flights, [own], CRAFT).findings == ()


def test_a_servo_that_rose_and_was_repaired_leaves_no_silent_mirror(make_season: Make) -> None:
    flights = make_season(39, current={"right wing": grows(6, 0.04)}, scatter=0.01)
    healed = make_season(39, scatter=0.01)
    note = NoteMark(kind="repaired", place="right wing", text="", date="2026-06-01", before=14)
    for k in range(15, 21):
        assert judge([*flights[:14], *healed[14:k]], [note], CRAFT).findings == ()


def test_a_contact_that_opened_is_as_grave_as_it_was(make_season: Make) -> None:
    a, b = wobble(13, 0.01), wobble(14, 0.01)
    features = {}
    for p in PLACES:
        opened = (lambda k: 0.6 if 8 <= k <= 11 else 0.0) if p == "tail" else (lambda _k: 0.0)
        features[p, "drop_tail_v"] = lambda k, opened=opened: 0.09 + a(k) + opened(k)
        features[p, "drop_tail_other_v"] = lambda k: 0.09 + b(k)
    flights = make_season(40, features=features)
    then = only(judge(flights[:11], aircraft=CRAFT), "contact-intermittent")
    later = only(replay(flights, aircraft=CRAFT), "contact-intermittent")
    assert (then.place, then.level) == (later.place, later.level) == ("tail", Level.GROUND)
    assert {then.since_flight, later.since_flight} <= {"8", "9"}
    assert later.title.endswith(", but no repair is noted")
    note = NoteMark(kind="repaired", place="tail", text="", date="2026-06-01", before=11)
    closed = replay(flights, [note], CRAFT)
    assert closed.open == ()
    (told,) = [f for f in closed.closed if f.level is Level.GROUND]
    assert told.closed_by is not None
    assert (told.closed_by.kind, told.closed_by.before) == ("repaired", 11)
