"""Currents of nodes beside one another: recordings made by hand, a fault in one of them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from telemetry.aircraft import Aircraft
from telemetry.measure.currents.active import active_spans
from telemetry.measure.currents.added import CurrentBlocks, lone_stretch
from telemetry.measure.currents.nodes import unusual_currents
from telemetry.measure.currents.shares import SIDE, Shared, climbing
from telemetry.measure.currents.still import fell_still
from telemetry.measure.currents.stirred import multiple
from telemetry.model.channels import Quantity
from telemetry.readings import Readings
from telemetry.results import Phase, PhaseKind, UnusualCurrent, UnusualKind

I, C = Quantity.CURRENT, Quantity.CONTROL  # noqa: E741
STEP_S = 0.5
#: Rest, stir, rest, flight, rest, stir, rest: instants at which each ends, s.
ENDS_S = (30.0, 45.0, 60.0, 360.0, 390.0, 405.0, 430.0)
T = np.arange(0.0, ENDS_S[-1], STEP_S)
FLYING = (ENDS_S[2] <= T) & (ENDS_S[3] > T)
LATE = T >= 200.0
Change = Callable[[dict[str, np.ndarray]], None]


def craft(*names: str) -> Aircraft:
    nodes = [{"name": n, "fed_from": "bus"} for n in names if n != "bus"]
    return Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}], "nodes": nodes})


def phases(until_s: float = ENDS_S[3]) -> list[Phase]:
    kinds = (PhaseKind.GROUND, PhaseKind.STIR, PhaseKind.GROUND, PhaseKind.FLIGHT)
    kinds += (PhaseKind.GROUND, PhaseKind.STIR, PhaseKind.GROUND)
    ends = (*ENDS_S[:3], until_s, *ENDS_S[4:])
    starts = (0.0, *ends[:-1])
    return [Phase(kind=k, start_s=a, end_s=b) for k, a, b in zip(kinds, starts, ends, strict=True)]


def work(seed: int) -> np.ndarray:
    """What a surface has to do: moves of some seconds in flight, all the time in a stir."""
    rng = np.random.default_rng(seed)
    raw = np.abs(rng.standard_normal(T.size))
    moves = np.convolve(raw, np.hanning(9) / np.hanning(9).sum(), "same")
    stirred = ((ENDS_S[0] <= T) & (ENDS_S[1] > T)) | ((ENDS_S[4] <= T) & (ENDS_S[5] > T))
    return moves * FLYING + 1.5 * stirred


def currents(*names: str, seed: int = 1) -> dict[str, np.ndarray]:
    """Sound wings that do one work, and other places with another: 0.2 A of rest."""
    rng = np.random.default_rng(seed + 100)
    out = {}
    for k, name in enumerate(names):
        does = work(seed if "wing" in name else seed + 10 + k)
        noise = 1.0 + 0.1 * rng.standard_normal(T.size)
        out[name] = 0.2 + 0.8 * does * noise + 0.005 * rng.standard_normal(T.size)
    return out


def found(
    amps: dict[str, np.ndarray],
    make_readings: Callable[..., Readings],
    sticks: dict[str, np.ndarray] | None = None,
    until_s: float = ENDS_S[3],
    resolution: float = 0.01,
) -> dict[str, UnusualCurrent]:
    series = {(name, I): (T, v) for name, v in amps.items()}
    series |= {(name, C): (T, v) for name, v in (sticks or {}).items()}
    made = make_readings(series, update_s=STEP_S, resolution=resolution, row_s=STEP_S, unit="%")
    told, _ = unusual_currents(made, craft(*amps), phases(until_s))
    return {u.place: u for u in told}


WINGS = ("left wing", "right wing")
ALL = (*WINGS, "tail", "nose")


@pytest.mark.parametrize("names", [WINGS, ALL])
def test_a_sound_recording_accuses_nobody(names, make_readings) -> None:
    for seed in range(6):
        assert found(currents(*names, seed=seed), make_readings) == {}


@pytest.mark.parametrize(("part", "told"), [(0.45, True), (0.9, False)])
@pytest.mark.parametrize("names", [WINGS, ALL])
def test_a_wing_that_does_less_from_an_instant_on_is_silent(
    names, part: float, told: bool, make_readings
) -> None:
    amps = currents(*names)
    over = amps["left wing"] - 0.2
    amps["left wing"] = 0.2 + over * np.where(LATE, part, 1.0)
    here = found(amps, make_readings)
    assert ({p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.SILENT}) is told
    if told:
        assert here["left wing"].start_s == pytest.approx(200.0, abs=20.0)
        assert here["left wing"].now / here["left wing"].before == pytest.approx(part, rel=0.15)


def test_a_wing_that_binds_makes_no_stretch_of_its_mirrors_own(make_readings) -> None:
    """It draws 0.9 A for each move: where both hold their flaps it is less of a multiple."""
    amps = currents(*ALL)
    moves = amps["left wing"] > 0.25
    flaps = 0.35 * ((ENDS_S[3] - 45.0 <= T) & FLYING)
    for wing in WINGS:
        amps[wing] = amps[wing] + flaps
    amps["left wing"] = amps["left wing"] + 0.25 + 0.9 * moves * (flaps == 0.0)
    assert {p: u.kind for p, u in found(amps, make_readings).items()} == {
        "left wing": UnusualKind.MORE
    }


@pytest.mark.parametrize(("rise", "told"), [(1.0, True), (0.15, False)])
def test_a_wing_that_draws_more_and_more_heats(rise: float, told: bool, make_readings) -> None:
    amps = currents(*ALL)
    warm = 1.0 + rise * np.clip((T - ENDS_S[2]) / 300.0, 0.0, 1.0) * FLYING
    amps["right wing"] = 0.2 + (amps["right wing"] - 0.2) * warm
    here = found(amps, make_readings)
    assert ({p: u.kind for p, u in here.items()} == {"right wing": UnusualKind.HEATS}) is told


@pytest.mark.parametrize(
    ("part", "kind"),
    [
        (0.3, UnusualKind.SILENT),
        (0.9, None),
        (1.2, None),
        (2.0, UnusualKind.RAISED),
        (2.0, UnusualKind.HEATS),
    ],
)
def test_a_lone_node_is_held_against_its_own_floor(part, kind, make_readings) -> None:
    """What it always draws in flight falls or rises at an instant, or climbs; others' stays."""
    amps = currents(*ALL, seed=3)
    since = np.clip((T - 200.0) / 1.0, 0.0, 1.0)
    if kind is UnusualKind.HEATS:
        since = np.clip((T - ENDS_S[2]) / 300.0, 0.0, 1.0)
    amps["tail"] = amps["tail"] * (1.0 + (part - 1.0) * since * (ENDS_S[3] > T))
    here = found(amps, make_readings)
    assert {p: u.kind for p, u in here.items()} == ({} if kind is None else {"tail": kind})


@pytest.mark.parametrize(("times", "told"), [(2.5, True), (1.3, False)])
def test_a_wing_that_draws_a_multiple_of_the_other(times: float, told: bool, make_readings) -> None:
    amps = currents(*ALL)
    amps["left wing"] = 0.2 + times * (amps["left wing"] - 0.2)
    here = found(amps, make_readings)
    assert ({p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.MORE}) is told


@pytest.mark.parametrize(
    ("rest_a", "part", "place", "kind", "either"),
    [
        # Hardly anything is left, and servos took their idle current with them.
        (0.1, 0.1, "right wing", UnusualKind.LESS, False),
        # Servos that work harder at the left idle higher for it: either of the two.
        (0.1, 0.3, "left wing", UnusualKind.MORE, True),
        # Idle alike tells nothing: a servo with a stripped gear or no signal does so, too.
        (0.2, 0.3, "left wing", UnusualKind.MORE, True),
        (0.25, 0.3, "left wing", UnusualKind.MORE, True),
    ],
)
def test_of_a_multiple_the_rests_tell_which_wing_it_is(
    rest_a: float, part: float, place: str, kind: UnusualKind, either: bool, make_readings
) -> None:
    amps = currents(*ALL)
    amps["right wing"] = rest_a + part * (amps["right wing"] - 0.2)
    here = found(amps, make_readings)
    assert {p: (u.kind, u.either) for p, u in here.items()} == {place: (kind, either)}


@pytest.mark.parametrize(
    ("part", "kind", "either"),
    [
        (0.0, UnusualKind.LESS, False),  # whatever it rests at: it answers nothing
        (0.2, UnusualKind.LESS, True),  # a mirror that binds looks like a wing that lost servos
    ],
)
def test_a_wing_with_servos_off_from_the_start(
    part: float, kind: UnusualKind, either: bool, make_readings
) -> None:
    """Its rest goes with them, however small the step of its sensor and that of its mirror."""
    amps = currents(*ALL)
    amps["right wing"] = part * amps["right wing"]
    here = found(amps, make_readings)
    assert {p: (u.kind, u.either) for p, u in here.items()} == {"right wing": (kind, either)}


def test_a_wing_that_holds_something_at_rest_is_the_one_that_works_harder(make_readings) -> None:
    amps = currents(*ALL)
    amps["left wing"] = 0.55 + 2.0 * (amps["left wing"] - 0.2)
    here = found(amps, make_readings)
    assert {p: (u.kind, u.either) for p, u in here.items()} == {
        "left wing": (UnusualKind.MORE, False)
    }


def test_rests_within_steps_of_the_sensor_leave_either_wing_open(make_readings) -> None:
    resolution = 0.1
    amps = currents(*ALL)
    amps["right wing"] = 0.1 + 0.3 * (amps["right wing"] - 0.2)
    amps = {n: np.round(v / resolution) * resolution for n, v in amps.items()}
    here = found(amps, make_readings, resolution=resolution)
    assert {p: (u.kind, u.either) for p, u in here.items()} == {
        "left wing": (UnusualKind.MORE, True)
    }


@pytest.mark.parametrize(
    ("place", "amps_a", "kind"),
    [
        ("nose", 2.0, UnusualKind.STEADY),  # a pump or lamps, for all that the log shows
        ("nose", 4.5, UnusualKind.RESTS_HIGH),  # no usual load
        ("nose", 0.9, None),
        ("left wing", 2.0, UnusualKind.RESTS_HIGH),  # the mirror does not
    ],
)
def test_a_load_that_never_changes(place: str, amps_a: float, kind, make_readings) -> None:
    amps = currents(*ALL)
    amps[place] = amps[place] + amps_a
    here = found(amps, make_readings)
    assert {p: u.kind for p, u in here.items()} == ({} if kind is None else {place: kind})


@pytest.mark.parametrize("nodes", [(), ("tail",)])
@pytest.mark.parametrize(("more_a", "told"), [(1.2, True), (0.7, False)])
def test_a_whole_current_that_stays_up_after_landing(
    nodes: tuple[str, ...], more_a: float, told: bool, make_readings
) -> None:
    """Where no node shows it: a gear pump that runs on, or servos whose current is not logged."""
    amps = currents(*nodes, "bus")
    amps["bus"] = amps["bus"] + np.where(ENDS_S[3] <= T, more_a, 0.0)
    here = found(amps, make_readings)
    assert {p: u.kind for p, u in here.items()} == ({"bus": UnusualKind.STAYS_UP} if told else {})


def test_a_whole_current_that_a_node_explains_is_told_there(make_readings) -> None:
    amps = currents("tail", "nose", "bus")
    for name in ("tail", "bus"):
        amps[name] = amps[name] + np.where(ENDS_S[3] <= T, 1.5, 0.0)
    assert set(found(amps, make_readings)) == {"tail"}


def test_a_load_that_is_another_after_the_flight_is_no_steady_one(make_readings) -> None:
    amps = currents(*ALL)
    amps["nose"] = amps["nose"] + np.where(ENDS_S[2] + 100.0 > T, 2.0, 3.2)
    assert found(amps, make_readings)["nose"].kind is not UnusualKind.STEADY


@pytest.mark.parametrize(
    ("times", "kind"),
    [(2.0, UnusualKind.RAISED), (0.5, UnusualKind.SILENT), (1.15, None)],
)
def test_one_stir_against_the_other(times: float, kind, make_readings) -> None:
    """On the bench: two stirs, and one wing does other work in the second."""
    amps = currents(*WINGS)
    for name, v in amps.items():
        amps[name] = np.where(FLYING, 0.2, v)
    later = ENDS_S[3] <= T
    amps["left wing"] = 0.2 + (amps["left wing"] - 0.2) * np.where(later, times, 1.0)
    bench = [p for p in phases() if p.kind is not PhaseKind.FLIGHT]
    bench.append(Phase(kind=PhaseKind.GROUND, start_s=ENDS_S[2], end_s=ENDS_S[3]))
    made = make_readings(
        {(n, I): (T, v) for n, v in amps.items()}, update_s=STEP_S, resolution=0.01, row_s=STEP_S
    )
    told, _ = unusual_currents(made, craft(*amps), sorted(bench, key=lambda p: p.start_s))
    assert {u.place: u.kind for u in told} == ({} if kind is None else {"left wing": kind})
    assert all(u.start_s == ENDS_S[4] for u in told)


def test_the_flight_goes_on_where_half_the_servos_died(make_readings) -> None:
    """The phases end it there, for the current of the whole has fallen."""
    amps = currents(*WINGS)
    amps["left wing"] = np.where(LATE, 0.0, amps["left wing"])
    here = found(amps, make_readings, until_s=200.0)
    assert {p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.SILENT}
    edges = np.arange(0.0, T[-1] + 1.0)
    means = [v[: 2 * (edges.size - 1)].reshape(-1, 2).mean(axis=1) for v in amps.values()]
    (span,) = active_spans(means, edges, phases(until_s=200.0))
    assert span == pytest.approx((ENDS_S[2], ENDS_S[3]), abs=12.0)


@pytest.mark.parametrize(
    ("dead", "apart", "named"),
    [("aileron", True, True), ("flap", True, True), ("flap", False, False)],
)
def test_the_control_whose_servo_died_is_named(
    dead: str, apart: bool, named: bool, make_readings
) -> None:
    """A wing has servos on two controls; where both move together neither is named."""
    rng = np.random.default_rng(5)

    def moves() -> np.ndarray:
        x = np.zeros(T.size)
        for at in rng.uniform(ENDS_S[2], ENDS_S[3], 60):
            x += rng.uniform(-60, 60) * ((at <= T) & (at + 2.0 > T))
        return x

    aileron = moves()
    sticks = {"aileron": aileron, "flap": moves() if apart else 0.8 * aileron}
    draws = {n: 0.02 * np.abs(x) + 0.01 * np.abs(np.gradient(x)) for n, x in sticks.items()}
    both = 0.2 + draws["aileron"] + draws["flap"]
    amps = {"left wing": both, "right wing": both - draws[dead] * LATE}
    amps = {n: v + 0.01 * rng.standard_normal(T.size) for n, v in amps.items()}
    here = found(amps, make_readings, sticks)
    assert {p: u.kind for p, u in here.items()} == {"right wing": UnusualKind.SILENT}
    told = here["right wing"].controls
    assert (told[0][0] == dead and told[0][1] > 0.9) if named else told == ()


@pytest.mark.parametrize(("over_a", "told"), [(0.0, True), (0.03, False)])
def test_what_lies_over_its_rest_after_landing_has_not_fallen_still(over_a, told) -> None:
    """A small rudder in calm air: a step or two over 1.28 A of something else that draws on."""
    rng = np.random.default_rng(6)
    mine = 1.28 + np.r_[0.04 + 0.1 * rng.random(200), np.full(30, over_a)]
    other = 0.2 + rng.random(230)
    found = fell_still(mine, [other], 0.02, landed_a=1.28)
    assert found == (200 if told else None)
    assert fell_still(mine, [other], 0.02) == 200, "where no rest tells"


@pytest.mark.parametrize(("moves", "told"), [(("node 3",), False), (("node 2", "node 3"), True)])
def test_most_others_have_to_go_on_where_a_node_lies_still(
    moves: tuple[str, ...], told: bool, make_readings
) -> None:
    """After landing the tail alone steers: nodes that rest then are no dead ones."""
    names = ("node 1", "node 2", "node 3")
    amps = currents(*names)
    rolls = (ENDS_S[3] - 25.0 <= T) & (ENDS_S[3] > T)
    for name in set(names) - set(moves):
        amps[name] = np.where(rolls, 0.2, amps[name])
    here = found(amps, make_readings)
    assert {p: u.kind for p, u in here.items()} == ({"node 1": UnusualKind.SILENT} if told else {})


@pytest.mark.parametrize("wild_a", [3.0, 19.0])
def test_one_reading_does_not_show_that_the_other_goes_on(wild_a: float, make_readings) -> None:
    """Both rest after landing: the sound one is not dead because the other's sensor erred once."""
    amps = currents(*WINGS)
    rolls = (ENDS_S[3] - 25.0 <= T) & (ENDS_S[3] > T)
    amps = {name: np.where(rolls, 0.2, v) for name, v in amps.items()}
    assert found(amps, make_readings) == {}
    amps["left wing"][np.flatnonzero(rolls)[40]] = wild_a
    assert found(amps, make_readings) == {}


def test_the_likeliest_step_of_a_constant_share_is_seldom_a_sure_one() -> None:
    """At the most as often as by Student's t and the Bonferroni bound over all that are tried."""
    n, seeds, errors = 20, 600, 3.5
    tried = n - 2 * SIDE + 1
    sure = 0
    for seed in range(seeds):
        rng = np.random.default_rng(seed)
        load = rng.uniform(0.05, 0.6, n)
        mine = load + 0.2 * np.sqrt(load) * rng.standard_normal(n)
        first = 20.0 * np.arange(n)
        s = Shared(mine=mine, counterpart=load, first=first, seconds=20.0, usual=0.5, mirror=True)
        step = s.step
        sure += step is not None and abs(step.errors) >= errors
    assert sure / seeds <= tried * 2.0 * stats.t.sf(errors, n - 2)


def test_a_share_is_the_ratio_estimator() -> None:
    """Least squares through the origin with errors that grow as the load (Cochran, chapter 6)."""
    rng = np.random.default_rng(2)
    load = rng.uniform(0.2, 2.0, 400)
    mine = load * np.where(np.arange(400) < 200, 1.0, 2.0)
    s = Shared.of(mine, load, 1.0, usual=1.0, mirror=True)
    assert s is not None
    fit = sm.WLS(s.mine[:10], s.counterpart[:10], weights=1.0 / s.counterpart[:10]).fit()
    assert fit.params[0] == pytest.approx(s.mine[:10].sum() / s.counterpart[:10].sum())
    assert climbing(s) is None  # at an instant, not by degrees


@pytest.mark.parametrize(("block_s", "seconds"), [(0.5, 8.0), (2.0, 8.0), (3.0, 9.0), (5.0, 15.0)])
def test_a_stretch_is_eight_seconds_and_three_blocks_at_the_least(
    block_s: float, seconds: float
) -> None:
    blocks = round(seconds / block_s)
    load = np.ones((2 * SIDE + 1) * blocks)
    s = Shared.of(load, load, block_s, usual=1.0, mirror=True)
    assert s is not None
    assert s.seconds == seconds
    assert s.first.tolist() == [blocks * k for k in range(2 * SIDE + 1)]
    assert Shared.of(load[1:], load[1:], block_s, usual=1.0, mirror=True) is None


@pytest.mark.parametrize(
    ("swings", "kind"), [(False, UnusualKind.RAISED), (True, UnusualKind.HUNTS)]
)
def test_what_is_added_swings_where_a_servo_hunts(swings, kind, make_readings) -> None:
    """As much on the mean: evenly by one that binds, 0.4 and 1.2 A in turn by one that hunts."""
    amps = currents(*ALL, seed=4)
    turns = np.where(np.arange(T.size) % 2 == 0, 0.5, 1.5) if swings else 1.0
    amps["left wing"] = amps["left wing"] + 0.8 * turns * ((T >= 200.0) & (T < 280.0))
    here = found(amps, make_readings)
    assert {p: u.kind for p, u in here.items()} == {"left wing": kind}


def test_nothing_is_held_against_a_wing_that_hunts(make_readings) -> None:
    """It trembles on after landing, which looks like flying: the sound wing does not lie still."""
    amps = currents(*WINGS, seed=4)
    turns = np.where(np.arange(T.size) % 2 == 0, 0.0, 1.0)
    amps["left wing"] = amps["left wing"] + 0.9 * turns
    here = found(amps, make_readings, until_s=ENDS_S[-1])
    assert {p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.HUNTS}


def test_slow_readings_of_a_hunting_wing_silence_no_mirror(make_readings) -> None:
    """Read too seldom it swings within half a minute, from the flight on past the landing."""
    amps = currents(*WINGS, seed=4)
    swing = 0.65 + 0.6 * np.sin(2 * np.pi * T / 12.0)
    amps["left wing"] = amps["left wing"] + swing * LATE
    here = found(amps, make_readings, until_s=ENDS_S[-1])
    assert set(here) == {"left wing"}
    assert here["left wing"].kind in (UnusualKind.HUNTS, UnusualKind.RAISED)
    assert here["left wing"].start_s == pytest.approx(200.0, abs=5.0)


@pytest.mark.parametrize("resolution", [0.01, 0.1])
def test_a_wing_that_hunts_all_the_time_hunts_rather_than_works(resolution, make_readings) -> None:
    """It draws a multiple of its mirror as well; what it swings by at rest tells why."""
    amps = currents(*ALL, seed=4)
    swing = np.abs(np.sin(2.0 * np.arange(T.size)))
    amps["left wing"] = amps["left wing"] + 1.5 * swing
    amps = {n: np.round(v / resolution) * resolution for n, v in amps.items()}
    here = found(amps, make_readings, resolution=resolution)
    assert {p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.HUNTS}


@pytest.mark.parametrize("moves", [True, False])
def test_a_high_rest_is_steady_where_it_never_changes(moves: bool, make_readings) -> None:
    amps = currents(*WINGS, seed=5)
    more = np.where(ENDS_S[3] > T, 2.0, 2.8) if moves else 2.0
    amps["left wing"] = amps["left wing"] + more
    here = found(amps, make_readings)
    assert {p: (u.kind, u.steady) for p, u in here.items()} == {
        "left wing": (UnusualKind.RESTS_HIGH, not moves)
    }


def wilder(seed: int, turns: str, power: float, late: np.ndarray) -> dict[str, np.ndarray]:
    """Two sound wings in a flight that gets wilder; the one takes more of the hard work.

    By no fault, for friction is overcome first. ``late`` multiplies the share of it besides.
    """
    span = np.clip((T - ENDS_S[2]) / (ENDS_S[3] - ENDS_S[2]), 0.0, 1.0)
    rng = np.random.default_rng(seed)
    harder = np.where(span > 0.6, 4.0, 1.0) if turns == "at an instant" else 4.0**span
    # No flight is all calm or all wild.
    hand = np.repeat(rng.uniform(0.5, 2.0, T.size // 40 + 1), 40)[: T.size]
    does = work(seed) * np.where(FLYING, harder * hand, 1.0)
    share = np.where(FLYING, np.clip(does / does[FLYING].mean(), 0.2, 3.0) ** power, 1.0)
    drawn = {"left wing": does, "right wing": does * share * late}
    return {p: 0.2 + 0.8 * v + 0.005 * rng.standard_normal(T.size) for p, v in drawn.items()}


@pytest.mark.parametrize("turns", ["at an instant", "by degrees"])
def test_a_flight_that_gets_wilder_accuses_no_wing(turns: str, make_readings) -> None:
    for seed in range(4):
        assert found(wilder(seed, turns, 0.45, np.ones(T.size)), make_readings) == {}, seed


def test_what_heats_shows_at_like_load_as_well(make_readings) -> None:
    warm = 1.0 + 1.5 * np.clip((T - ENDS_S[2]) / 300.0, 0.0, 1.0) * FLYING
    for seed in range(3):
        here = found(wilder(seed, "by degrees", 0.15, warm), make_readings)
        assert {p: u.kind for p, u in here.items()} == {"right wing": UnusualKind.HEATS}, seed


def test_a_counterpart_that_moves_in_one_stretch_alone_tells_no_instant() -> None:
    """There is no instant with load on both sides of it."""
    load = np.zeros(12)
    load[0] = 1.0
    s = Shared(
        mine=np.ones(12), counterpart=load, first=np.arange(12.0), seconds=20.0, usual=0.5,
        mirror=True,
    )  # fmt: skip
    assert s.step is None


@pytest.mark.parametrize(
    ("held_a", "held_s", "told"),
    [(4.5, 5, False), (6.0, 5, True), (6.0, 2, False), (8.0, 2, True)],
)
def test_a_lone_node_that_stalls_draws_twice_what_its_longest_moves_do(
    held_a, held_s, told
) -> None:
    """Amperes over what it usually draws, against a move of 3 A that is held for as long.

    Of two seconds, of which a flight has many, three times as much.
    """
    mean = 1.0 + 0.05 * np.random.default_rng(3).standard_normal(300)
    mean[60:65] = 3.0
    mean[200 : 200 + held_s] = held_a
    flown = CurrentBlocks(
        mean=mean, low=mean - 0.05, block_s=1.0, step=0.02, update_s=0.5, fresh=np.full(300, 2.0)
    )
    found = lone_stretch(flown, [np.full(300, 0.4)])
    assert (found is not None) is told


@pytest.mark.parametrize(("error", "told"), [(0.09, False), (0.05, True)])
def test_a_stir_that_alone_tells_a_multiple_has_to_be_sure_of_it(error, told) -> None:
    """1.6 times the mirror in flight, 1.95 times in a stir of a few readings."""
    rng = np.random.default_rng(5)
    other = 0.2 + 0.3 * np.abs(np.convolve(rng.standard_normal(304), np.ones(5) / 2, "valid"))
    mine = 1.6 * other * (1.0 + 0.1 * rng.standard_normal(300))
    found = multiple(mine, other, 1.0, [(1.95, error)], 0.01)
    assert (found is not None) is told


@pytest.mark.parametrize(
    ("less_a", "also", "told"),
    [
        (0.12, (), True),
        (0.06, (), False),  # 0.14 of 0.2 A are more than six tenths
        (0.12, ("right wing",), False),  # at both: the receiver, the cold, the pilot
        (0.12, ("tail",), False),
    ],
)
def test_a_servo_that_was_off_after_landing_shows_at_rest(
    less_a: float, also: tuple[str, ...], told: bool, make_readings
) -> None:
    amps = currents(*ALL)
    resting = (ENDS_S[3] <= T) & ~((ENDS_S[4] <= T) & (ENDS_S[5] > T))
    for name in ("left wing", *also):
        amps[name] = amps[name] - less_a * resting
    here = found(amps, make_readings)
    assert ({p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.RESTS_LOW}) is told
    if told:
        low = here["left wing"]
        assert low.before == pytest.approx(0.2, abs=0.02)
        assert low.now == pytest.approx(0.2 - less_a, abs=0.02)
        assert low.start_s == pytest.approx(T[-1])
