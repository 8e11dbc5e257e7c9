"""Strays of the drop to a place: tails about a line in the current that is known beforehand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Node
from telemetry.model.channels import Quantity
from telemetry.readings import Reading, Readings
from telemetry.results import Event, EventKind, Origin, Phase, PhaseKind
from telemetry.trends.features.contacts import drop_tails, stray_tails

Make = Callable[..., Any]

CRAFT = Aircraft(bus="bus", nodes=(Node(name="tail", fed_from="bus"),))


def amps(n: int) -> np.ndarray:
    return 1.0 + np.arange(n) % 2


def strays(n: int, up: list[float], down: list[float]) -> np.ndarray:
    """Strays all at the same current and as much up as down: the line does not move."""
    out = np.zeros(n)
    out[: 2 * len(up) : 2] = up
    out[2 * len(up) : 2 * (len(up) + len(down)) : 2] = [-x for x in down]
    assert abs(out.sum()) < 1e-12
    return out


@pytest.mark.parametrize(
    ("n", "up", "down", "tails"),
    [
        pytest.param(1000, [9, 9, 9, 9, 4, 0], [4] * 10, (8, 4), id="5 of 1000"),
        pytest.param(1000, [4] * 10, [9, 9, 9, 9, 4, 0], (4, 8), id="5 of 1000, below"),
        pytest.param(100, [9, 9, 9, 1, 0], [4] * 7, (7, 4), id="4 of 100 at the least"),
    ],
)
def test_tails(n: int, up: list[float], down: list[float], tails: tuple[float, float]) -> None:
    drop = strays(n, up, down)
    found = stray_tails(0.05 + 0.03 * amps(n) + drop, amps(n))
    assert found == pytest.approx(tails)


# Of the logs: 120 readings at 10 Hz, of which the first 100 are loaded, unless told otherwise.

N = 120
T = 0.1 * np.arange(N)
UP, DOWN = [0.9, 0.9, 0.9, 0.5], [0.32] * 10
LOADED = (
    Phase(kind=PhaseKind.STIR, start_s=0.0, end_s=4.0),
    Phase(kind=PhaseKind.FLIGHT, start_s=4.0, end_s=9.95),
    Phase(kind=PhaseKind.GROUND, start_s=9.95, end_s=12.0),
)


def readings(*channels: Reading) -> Readings:
    return Readings(
        channels=channels,
        row_s=0.1,
        start_s=0.0,
        end_s=12.0,
        gaps=(),
        dropouts=(),
        spurious=(),
        off=(),
    )


@pytest.fixture
def channels(make_reading: Make) -> Callable[..., dict[str, Reading]]:
    def make() -> dict[str, Reading]:
        flow = amps(N)
        drop = 0.05 + 0.03 * flow + strays(N, UP, DOWN)
        drop[100:] = 50.0  # on the ground: none of it counts
        amp = {"quantity": Quantity.CURRENT, "update_s": 0.1}
        return {
            "low": make_reading("tail", T, 7.0 - drop),
            "high": make_reading("bus", [-1.0, *T[:-1], 13.0], np.full(N + 1, 7.0)),
            "own": make_reading("tail", T, flow, **amp),
            "total": make_reading("bus", T, flow, **amp),
        }

    return make


def tails_of(made: dict[str, Reading], *, craft: Aircraft = CRAFT, phases: Any = LOADED) -> Any:
    found = drop_tails(readings(*made.values()), craft, phases)
    assert all((m.place, m.unit) == ("tail", "V") for m in found)
    return {m.feature: m.value for m in found}


EXPECTED = {"drop_tail_v": pytest.approx(0.8), "drop_tail_other_v": pytest.approx(0.32)}


def test_strays_under_load_up_and_down(channels: Make) -> None:
    # Four of the 100 loaded readings: (0.9 + 0.9 + 0.9 + 0.5) / 4.
    assert tails_of(channels()) == EXPECTED


@pytest.mark.parametrize("name", ["low", "high"])
def test_voltages_of_both_ends_are_needed(channels: Make, name: str) -> None:
    made = channels()
    kept = {k: r for k, r in made.items() if k != name}
    assert tails_of(kept) == {}
    few = {**made, name: replace(made[name], t=made[name].t[:99], v=made[name].v[:99])}
    assert tails_of(few) == {}


def test_a_hundred_readings_of_each_are_enough(channels: Make) -> None:
    made = {k: replace(r, t=r.t[:100], v=r.v[:100]) for k, r in channels().items()}
    other = replace(made["total"], v=1.0 + (made["total"].t > 6))
    assert tails_of({**made, "total": other}) == EXPECTED
    del made["own"]
    assert tails_of(made) == EXPECTED


def test_a_hundred_of_them_are_under_load(channels: Make) -> None:
    shorter = (*LOADED[:1], replace(LOADED[1], end_s=9.85))
    assert tails_of(channels(), phases=shorter) == {}


def test_without_a_current_of_its_own_the_whole_tells(channels: Make) -> None:
    made = channels()
    total = made["total"]
    # A whole current that the drop goes with, and one that stands for itself.
    flat = {**made, "total": replace(total, v=np.ones(N) + (T > 6))}
    assert tails_of({k: r for k, r in made.items() if k != "own"}) == EXPECTED
    assert tails_of(flat) == EXPECTED
    few = {**made, "own": replace(made["own"], t=T[:99], v=np.linspace(0, 5, 99))}
    assert tails_of(few) == EXPECTED
    # Neither: nothing is told.
    for n in (99, 0):
        less = {**few, "total": replace(total, t=T[:n], v=total.v[:n])}
        less["own"] = replace(less["own"], t=T[:0], v=T[:0])
        assert tails_of(less) == {}


def test_a_place_that_nothing_feeds_has_no_drop(channels: Make) -> None:
    craft = Aircraft(nodes=(Node(name="tail"),))
    assert tails_of(channels(), craft=craft) == {}


def test_the_higher_voltage_is_taken_between_its_readings(channels: Make) -> None:
    """A bus that rises by 1 V a second, read every second: what is lost on the way is the same."""
    made = channels()
    low, ramp_t = made["low"], np.arange(-1.0, 130.0)
    made["low"] = replace(low, v=low.v + low.t)
    made["high"] = replace(made["high"], t=ramp_t, v=7.0 + ramp_t)
    assert tails_of(made) == EXPECTED


@pytest.mark.parametrize(
    ("origin", "place", "left_out"),
    [
        (Origin.SUPPLY, "bus", True),
        (Origin.PACK, "bus", True),
        (Origin.LOAD, "bus", False),  # it is explained, and so is what strays then
        (Origin.SUPPLY, "left wing", False),
    ],
)
def test_a_fall_of_what_feeds_the_place_is_no_contact(
    make_reading: Make, origin: Origin, place: str, left_out: bool
) -> None:
    """The bus falls at 20 s for a second; the unit of the tail is read half a reading later."""
    t, flow = 0.5 * np.arange(400), amps(400)
    bus = np.where((t >= 20.0) & (t < 21.0), 6.0, 7.0)
    late = np.interp(t - 0.25, t, bus)
    made = (
        make_reading("tail", t, late - 0.05 - 0.03 * flow, update_s=0.5),
        make_reading("bus", t, bus, update_s=0.5),
        make_reading("tail", t, flow, quantity=Quantity.CURRENT, update_s=0.5),
    )
    event = Event(kind=EventKind.SAG, place=place, start_s=20.0, end_s=21.0, origin=origin)
    phases = (Phase(kind=PhaseKind.FLIGHT, start_s=0.0, end_s=200.0),)
    (up, _) = drop_tails(readings(*made), CRAFT, phases, [event])
    assert up.value is not None
    assert (up.value < 0.01) is left_out
