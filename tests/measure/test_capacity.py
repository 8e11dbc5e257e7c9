"""What packs hold by their voltages at rest: by curves of usual cells, and beside one another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry.aircraft import Aircraft, Pack
from telemetry.measure.supply.capacity import pack_capacities
from telemetry.results import PackCapacity, PackState

# Open-circuit voltage of a lithium-polymer cell at 0, 10 .. 100 % (common practice, no source).
CURVE_V = (3.27, 3.69, 3.73, 3.77, 3.80, 3.84, 3.87, 3.95, 4.02, 4.11, 4.20)
# The same of a lithium-ion cell (from memory of cell makers' tables).
ION_V = (3.00, 3.33, 3.45, 3.53, 3.59, 3.65, 3.72, 3.82, 3.92, 4.04, 4.18)
KIND = {"chemistry": "lipo", "cells": 2, "capacity_mah": 3000.0}
AIRCRAFT = Aircraft(packs=(Pack(name="pack 1", **KIND), Pack(name="pack 2", **KIND)))
UNKNOWN = Aircraft(packs=(Pack(name="pack 1"), Pack(name="pack 2")))


def flown(
    place: str,
    holds_mah: float,
    drawn_mah: float,
    start_pct: float = 100.0,
    curve_v: tuple[float, ...] = CURVE_V,
) -> PackState:
    """A pack that gave so much from there on, read at rest before and after."""

    def rest_v(pct: float) -> float:
        return 2 * float(np.interp(pct, range(0, 101, 10), curve_v))

    end_pct = start_pct - 100.0 * drawn_mah / holds_mah
    return PackState(
        place=place,
        role="shared",
        rest_v=rest_v(start_pct),
        landing_rest_v=rest_v(end_pct),
        drawn_mah=drawn_mah,
    )


@pytest.mark.parametrize("holds_mah", [1500.0, 3000.0])
def test_what_a_pack_holds_lies_within_its_interval(holds_mah: float) -> None:
    (found,) = pack_capacities([flown("pack 1", holds_mah, 0.6 * holds_mah)], AIRCRAFT)
    assert found.low_mah < holds_mah < found.high_mah < 2.0 * holds_mah


def test_little_drawn_or_a_flat_curve_tells_nothing() -> None:
    assert pack_capacities([flown("pack 1", 3000.0, 200.0)], AIRCRAFT) == ()
    iron = Aircraft(packs=(Pack(name="pack 1", chemistry="life", cells=2),))
    state = PackState(
        place="pack 1", role="shared", rest_v=6.68, landing_rest_v=6.55, drawn_mah=1500.0
    )
    assert pack_capacities([state], iron) == ()


def one_against_the_other(other: PackState, aircraft: Aircraft = UNKNOWN) -> PackCapacity | None:
    states = [flown("pack 1", 3000.0, 1500.0), other]
    found = [c for c in pack_capacities(states, aircraft) if c.place == "pack 2"]
    return found[0] if found else None


@pytest.mark.parametrize(
    ("holds_mah", "drawn_mah"),
    [
        (1500.0, 750.0),  # behind one bus: both fall alike
        (1500.0, 900.0),  # behind regulators of their own
        (3000.0, 1500.0),
    ],
)
def test_a_pair_tells_their_ratio_without_a_profile(holds_mah: float, drawn_mah: float) -> None:
    found = one_against_the_other(flown("pack 2", holds_mah, drawn_mah))
    assert found is not None
    assert found.low_times < holds_mah / 3000.0 < found.high_times
    assert found.high_times / found.low_times < 2.5


def test_packs_that_began_apart_or_hardly_fell_tell_no_ratio() -> None:
    assert one_against_the_other(flown("pack 2", 3000.0, 1000.0, start_pct=60.0)) is None
    hardly = replace(flown("pack 2", 3000.0, 1500.0), landing_rest_v=8.2)
    assert one_against_the_other(hardly) is None


def test_what_only_one_of_a_pair_can_be_the_other_is_as_well() -> None:
    """At 6.8 V at rest two cells are of lithium-ion; at 7.2 V the other may be of polymer too."""
    sound = flown("pack 1", 3000.0, 1800.0, curve_v=ION_V)
    faded = flown("pack 2", 1500.0, 1300.0, curve_v=ION_V)
    assert (sound.landing_rest_v, faded.landing_rest_v) == pytest.approx((7.18, 6.75), abs=0.02)
    found = {c.place: c for c in pack_capacities([sound, faded], UNKNOWN)}
    assert found["pack 2"].low_times < 0.5 < found["pack 2"].high_times < 0.75
    assert found["pack 2"].compared_with == "pack 1"
