"""Packs that give nothing: each rule of the voltages from both sides, on a second's grid."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.measure.away import dead_spans, sign_of
from telemetry.readings import Reading
from telemetry.results import OutSign
from tests.measure.conftest import reading, readings

TERN = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
ALONE = Aircraft.model_validate({"packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
GRID = np.arange(21.0)


def dead(
    own: list[float],
    other: float = 8.0,
    *,
    t: list[float] | None = None,
    place: str = "bus",
    grid: np.ndarray = GRID,
) -> list[tuple[float, float]]:
    beside = reading(place, np.full(21, other))
    return dead_spans(readings(reading("pack 1", own, t), beside), TERN, "pack 1", grid)


def fallen(low: float, high: float = 8.0) -> list[float]:
    return [high] * 10 + [low] * 5 + [high] * 6


@pytest.mark.parametrize("place", ["bus", "pack 2"])
def test_a_voltage_that_is_gone_while_another_is_read(place: str) -> None:
    assert dead(fallen(0.0), place=place) == [(10.0, 15.0)]
    # At the end the last instant of the grid holds for two of its steps.
    assert dead([8.0] * 10 + [0.0] * 11, place=place) == [(10.0, 22.0)]


@pytest.mark.parametrize(("low", "found"), [(1.5, 0), (1.499, 1)])
def test_under_a_volt_and_a_half_it_is_dead(low: float, found: int) -> None:
    assert len(dead(fallen(low))) == found


@pytest.mark.parametrize(("other", "found"), [(1.5, 0), (1.501, 1)])
def test_another_supply_must_live(other: float, found: int) -> None:
    assert len(dead(fallen(0.0), other)) == found


@pytest.mark.parametrize(("high", "found"), [(3.0, 0), (3.001, 1)])
def test_what_never_read_three_volts_is_not_connected(high: float, found: int) -> None:
    assert len(dead(fallen(0.0, high))) == found


def test_before_it_first_lived_it_is_not_dead() -> None:
    assert dead([0.0] * 5 + [8.0] * 5 + [0.0] * 5 + [8.0] * 6) == [(10.0, 15.0)]


def test_the_last_instant_holds_for_two_steps_of_any_grid() -> None:
    own, other = reading("pack 1", [8.0] * 10 + [0.0] * 11), reading("bus", np.full(21, 8.0))
    for grid in (np.arange(8.0, 20.5, 0.5), np.array([9.0, 12.0])):
        ((_, end),) = dead_spans(readings(own, other), TERN, "pack 1", grid)
        assert end == grid[-1] + 2 * (grid[1] - grid[0])


def test_one_reading_in_the_span_is_enough_for_no_voltage() -> None:
    own = reading("pack 1", [8.0, 0.0, 8.0], [10.0, 25.0, 35.0])
    assert sign(own, bus(7.875)) is OutSign.DEAD
    assert sign(own, bus(7.875), span=(26.0, 34.0)) is OutSign.UNKNOWN


def test_a_last_reading_counts_for_five_seconds() -> None:
    assert dead([8.0] * 10 + [0.0]) == [(10.0, 16.0)]


@pytest.mark.parametrize(
    ("pause", "spans"),
    [(1, [(10.0, 15.0)]), (2, [(10.0, 12.0), (14.0, 16.0)])],
)
def test_pauses_under_two_seconds_are_joined(pause: int, spans: list[tuple[float, float]]) -> None:
    own = [8.0] * 10 + [0.0] * 2 + [8.0] * pause + [0.0] * 2 + [8.0] * (7 - pause)
    assert dead(own) == spans


def test_what_cannot_be_told_is_no_dead_span() -> None:
    other = reading("bus", np.full(21, 8.0))
    assert dead_spans(readings(other), TERN, "pack 1", GRID) == []
    lone = readings(reading("pack 1", fallen(0.0)))
    assert dead_spans(lone, TERN, "pack 1", GRID) == []
    # Places that feed nothing do not count, nor does a channel without a reading.
    for beside in (reading("tail", np.full(21, 8.0)), reading("bus", [])):
        assert dead_spans(readings(lone.channels[0], beside), TERN, "pack 1", GRID) == []
    assert dead([8.0, 0.0], t=[0.0, 1.0]) == []  # three readings are the least
    assert dead([8.0, 0.0, 0.0], t=[0.0, 1.0, 2.0]) == [(1.0, 8.0)]
    assert dead(fallen(0.0), grid=np.array([5.0])) == []


# Signs: the pack gives until 20 s, gives nothing from 20 to 30 s, then gives again.

SPAN = (20.0, 30.0)
TIME = np.arange(41.0)
OUT = (TIME >= 20) & (TIME < 30)
SHARE = np.where(OUT, 0.0, 0.5)
TOTAL = np.full(41, 4.0)


def sign(
    own: Reading | None,
    *others: Reading,
    craft: Aircraft = TERN,
    share: np.ndarray = SHARE,
    total: np.ndarray = TOTAL,
    span: tuple[float, float] = SPAN,
    flows: bool = True,
) -> OutSign:
    channels = [*([] if own is None else [own]), *others]
    grid = np.arange(float(share.size))
    told = (grid, share, total) if flows else None
    return sign_of(readings(*channels), craft, "pack 1", span, told)


def pack(inside: float = 8.0, outside: float = 8.0, **more: float | None) -> Reading:
    return reading("pack 1", np.where(OUT, inside, outside), **more)  # type: ignore[arg-type]


def bus(inside: float, outside: float = 7.875, **more: float | None) -> Reading:
    return reading("bus", np.where(OUT, inside, outside), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("inside", "expected"),
    [
        # Giving it lies 0.125 V above the bus.
        (7.875, OutSign.UNKNOWN),
        (7.846, OutSign.UNKNOWN),  # 0.029 V further above it
        (7.844, OutSign.OPEN),  # 0.031 V
        (7.0, OutSign.OPEN),
        (7.904, OutSign.UNKNOWN),  # 0.029 V less above it
        (7.906, OutSign.HELD_OFF),
        (8.2, OutSign.HELD_OFF),
    ],
)
def test_an_open_way_lets_the_pack_rise_above_the_bus(inside: float, expected: OutSign) -> None:
    assert sign(pack(), bus(inside)) is expected


FADING = np.where(OUT, 0.0, np.clip((20.0 - TIME) / 20.0, 0.0, 1.0)) + 0.5 * (TIME >= 30)
FALLING = np.where((TIME >= 20) & (TIME < 30), 2.0, 4.0)


@pytest.mark.parametrize(
    ("share", "total"), [(FADING, TOTAL), (SHARE, FALLING)], ids=["it faded", "the load fell"]
)
def test_a_pack_that_fades_or_stops_with_the_load_is_held_off(share, total) -> None:
    assert sign(pack(), bus(7.875), share=share, total=total) is OutSign.HELD_OFF


@pytest.mark.parametrize(
    ("own", "below", "inside", "expected"),
    [
        (0.05, 0.03, 7.837, OutSign.UNKNOWN),  # 0.038 V further above: within half of both
        (0.05, 0.03, 7.833, OutSign.OPEN),
        (0.03, 0.05, 7.837, OutSign.UNKNOWN),
        (0.01, 0.01, 7.844, OutSign.OPEN),  # 0.03 V at least
        (0.01, 0.01, 7.846, OutSign.UNKNOWN),
    ],
)
def test_both_resolutions_are_allowed_for(
    own: float, below: float, inside: float, expected: OutSign
) -> None:
    assert sign(pack(resolution=own), bus(inside, resolution=below)) is expected


@pytest.mark.parametrize(
    ("inside", "expected"), [(1.499, OutSign.DEAD), (1.5, OutSign.HELD_OFF), (0.0, OutSign.DEAD)]
)
def test_no_voltage_is_dead(inside: float, expected: OutSign) -> None:
    # The bus fell with it: no collapse of the pack alone.
    assert sign(pack(inside), bus(inside)) is expected


@pytest.mark.parametrize(
    ("own", "below", "expected"),
    [
        # Of 8 V 15 % are 1.2 V; the bus beside it may fall by half of that part, 0.59 of 7.875 V.
        (6.79, 7.875, OutSign.DEAD),
        (6.81, 7.875, OutSign.HELD_OFF),
        (6.0, 7.29, OutSign.DEAD),
        (6.0, 7.28, OutSign.HELD_OFF),
    ],
)
def test_a_pack_that_breaks_down_alone_is_dead(own: float, below: float, expected: OutSign) -> None:
    assert sign(pack(own), bus(below)) is expected


@pytest.mark.parametrize(
    ("kept", "expected"),
    [
        # A break-down is told by three readings in the ten seconds to either side, half a second
        # about the moment left out.
        ([10, 11, 12, 27, 28, 29], OutSign.DEAD),
        ([10, 11, 27, 28, 29], OutSign.UNKNOWN),
        ([10, 11, 12, 28, 29], OutSign.UNKNOWN),
        ([9, 10, 11, 27, 28, 29], OutSign.UNKNOWN),
        ([10, 11, 12, 28, 29, 30], OutSign.UNKNOWN),
        ([11, 12, 20, 27, 28, 29], OutSign.UNKNOWN),
        ([10, 11, 12, 20, 28, 29], OutSign.UNKNOWN),
    ],
    ids=str,
)
def test_a_break_down_needs_readings_on_both_sides(kept: list[int], expected: OutSign) -> None:
    whole = pack(4.0)
    own = reading("pack 1", whole.v[kept], TIME[kept])
    assert sign(own, bus(7.875), flows=False) is expected


def test_ten_seconds_of_a_long_span_tell_a_break_down() -> None:
    # Down by half for the first ten seconds only counts, later readings do not: five of 8 V and
    # then more of 4 V are no break-down at the start.
    own = reading("pack 1", np.where(TIME < 26, 8.0, 4.0))
    steady = reading("bus", np.full(41, 7.875))
    assert sign(own, steady, span=(20.0, 40.0), flows=False) is OutSign.UNKNOWN
    early = reading("pack 1", np.where(TIME < 24, 8.0, 4.0))
    assert sign(early, steady, span=(20.0, 40.0), flows=False) is OutSign.DEAD


def test_where_a_pack_stays_far_above_the_bus_a_regulator_lies_between() -> None:
    # By 0.8 V while it gives; 0.75 and 0.875 V.
    assert sign(pack(), bus(7.0, 7.25)) is OutSign.OPEN
    assert sign(pack(), bus(7.0, 7.125)) is OutSign.UNKNOWN


def test_only_the_loaded_half_of_the_span_counts() -> None:
    # At 5 A, every other second, it lies 0.25 V above, at 1 A not at all; giving 0.125 V.
    heavy = TIME % 2 == 0
    below = np.where(OUT, np.where(heavy, 7.75, 8.0), 7.875)
    total = np.where(heavy, 5.0, 1.0)
    assert sign(pack(), reading("bus", below), total=total) is OutSign.OPEN
    assert sign(pack(), reading("bus", below), total=6 - total) is OutSign.HELD_OFF
    # A total that is not known there: all of the span.
    unknown = np.where(OUT, np.nan, 4.0)
    mostly = np.where(OUT & (TIME < 23), 8.0, np.where(OUT, 7.75, 7.875))
    one = np.where(TIME == 25, 4.0, unknown)
    assert sign(pack(), reading("bus", mostly), total=one) is OutSign.OPEN


@pytest.mark.parametrize(
    ("near", "expected"),
    [
        # Six readings within a minute before the span are enough to go by these alone: 0.125 V
        # above while it gave; earlier ones, 0.5 V, then do not count.
        (6, OutSign.OPEN),
        (5, OutSign.HELD_OFF),
    ],
)
def test_the_usual_head_is_that_of_the_minute_about_the_span(near: int, expected: OutSign) -> None:
    time = np.arange(131.0)
    span = (120.0, 131.0)
    share = np.where(time < 61, 0.5, 0.0)
    share[100 : 100 + near] = 0.5
    below = np.where(time < 61, 7.5, 7.875)
    below[time >= 120] = 7.75
    found = sign(
        reading("pack 1", np.full(131, 8.0)),
        reading("bus", below),
        share=share,
        total=np.full(131, 4.0),
        span=span,
    )
    assert found is expected


def test_a_minute_is_less_than_sixty_seconds() -> None:
    # 60 to 55 s before the span: the reading 60 s before is not near, five are.
    time = np.arange(131.0)
    for first, expected in ((60, OutSign.HELD_OFF), (61, OutSign.OPEN)):
        share = np.where(time < 40, 0.5, 0.0)
        share[first : first + 6] = 0.5
        below = np.where(time < 40, 7.5, 7.875)
        below[time >= 120] = 7.75
        found = sign(
            reading("pack 1", np.full(131, 8.0)),
            reading("bus", below),
            share=share,
            total=np.full(131, 4.0),
            span=(120.0, 131.0),
        )
        assert found is expected


@pytest.mark.parametrize(("share", "expected"), [(0.2, OutSign.UNKNOWN), (0.21, OutSign.OPEN)])
def test_a_fifth_of_the_current_is_giving(share: float, expected: OutSign) -> None:
    assert sign(pack(), bus(7.0), share=np.where(OUT, 0.0, share)) is expected


@pytest.mark.parametrize(("gave", "expected"), [(2, OutSign.UNKNOWN), (3, OutSign.OPEN)])
def test_three_instants_of_giving_are_the_least(gave: int, expected: OutSign) -> None:
    share = np.zeros(41)
    share[5 : 5 + gave] = 0.5
    assert sign(pack(), bus(7.0), share=share) is expected


@pytest.mark.parametrize(("end", "expected"), [(22.0, OutSign.UNKNOWN), (22.5, OutSign.OPEN)])
def test_three_instants_of_the_span_are_the_least(end: float, expected: OutSign) -> None:
    assert sign(pack(), bus(7.0), span=(20.0, end)) is expected


def test_what_cannot_be_told() -> None:
    assert sign(None, bus(7.0)) is OutSign.UNKNOWN
    silent = reading("pack 1", np.full(20, 8.0))  # no reading in the span
    assert sign(silent, bus(7.0)) is OutSign.UNKNOWN
    assert sign(pack()) is OutSign.UNKNOWN  # nothing beside it
    assert sign(pack(), bus(7.0), flows=False) is OutSign.UNKNOWN
    # Without a bus the only other pack is below; of two others neither.
    other = reading("pack 2", np.where(OUT, 7.0, 7.875))
    assert sign(pack(), other, craft=ALONE) is OutSign.OPEN
    three = Aircraft.model_validate({"packs": [{"name": f"pack {k}"} for k in (1, 2, 3)]})
    third = reading("pack 3", np.where(OUT, 7.0, 7.875))
    assert sign(pack(), other, third, craft=three) is OutSign.UNKNOWN
