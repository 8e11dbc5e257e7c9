"""Currents whose reading stood still: recordings made by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from telemetry.measure.currents.frozen import frozen_currents, without_frozen
from telemetry.measure.currents.nodes import unusual_currents
from telemetry.readings import Readings
from telemetry.results import FrozenCurrent, UnusualKind
from tests.measure.test_currents import ENDS_S, LATE, STEP_S, WINGS, I, T, craft, currents, phases

Make = Callable[..., Readings]


def readings_of(amps: dict[str, np.ndarray], make_readings: Make, *, whole: bool) -> Readings:
    """Coarse enough that what is still reads one and the same."""
    if whole:
        amps = {**amps, "bus": np.sum(list(amps.values()), axis=0)}
    series = {(n, I): (T, np.round(v / 0.05) * 0.05) for n, v in amps.items()}
    return make_readings(series, update_s=STEP_S, resolution=0.05, row_s=STEP_S)


def stood_still(made: Readings, names: tuple[str, ...]) -> tuple[FrozenCurrent, ...]:
    return frozen_currents(made, craft(*names), phases())


@pytest.mark.parametrize(
    ("level", "frozen"),
    [
        (0.9, True),  # within what it drew: no servo stands there to the last digit
        (0.2, False),  # its rest: its servos may be dead
        (4.0, False),  # above all it drew: one may have stalled
    ],
)
def test_a_reading_that_stands_still_is_frozen(
    level: float, frozen: bool, make_readings: Make
) -> None:
    amps = currents(*WINGS, "tail", seed=2)
    amps["left wing"] = np.where(LATE, level, amps["left wing"])
    told = stood_still(readings_of(amps, make_readings, whole=False), (*WINGS, "tail"))
    assert [f.place for f in told] == (["left wing"] if frozen else [])
    if frozen:
        assert told[0].start_s == pytest.approx(200.0, abs=STEP_S)
        assert told[0].value_a == pytest.approx(level)


@pytest.mark.parametrize("goes_on", [True, False])
def test_at_rest_the_current_of_the_whole_tells(goes_on: bool, make_readings: Make) -> None:
    """A wing that reads its rest is frozen where the whole goes on drawing for it, else dead."""
    names = (*WINGS, "tail")
    amps = currents(*names, seed=2)
    seen = np.where(LATE, 0.2, amps["left wing"])
    drawn = amps if goes_on else {**amps, "left wing": seen}
    made = readings_of(
        {**amps, "left wing": seen, "bus": np.sum(list(drawn.values()), axis=0)},
        make_readings,
        whole=False,
    )
    told = stood_still(made, (*names, "bus"))
    assert [f.place for f in told] == (["left wing"] if goes_on else [])
    unusual, watched = unusual_currents(made, craft(*names, "bus"), phases(), told)
    kinds = {u.place: u.kind for u in unusual}
    assert kinds == ({} if goes_on else {"left wing": UnusualKind.SILENT})
    assert ("left wing" in {w.place for w in watched}) is not goes_on


def test_below_all_that_it_ever_drew_servos_are_off(make_readings: Make) -> None:
    """Whatever the whole says: of coarse sensors what is left of it says little."""
    names = (*WINGS, "tail")
    amps = currents(*names, seed=2)
    whole = np.sum(list(amps.values()), axis=0)
    amps = {**amps, "left wing": np.where(LATE, 0.0, amps["left wing"]), "bus": whole}
    made = readings_of(amps, make_readings, whole=False)
    assert stood_still(made, (*names, "bus")) == ()


def test_a_current_that_never_moved_is_not_judged_here(make_readings: Make) -> None:
    amps = {**currents(*WINGS, "tail"), "left wing": np.full(T.size, 0.9)}
    assert stood_still(readings_of(amps, make_readings, whole=True), (*WINGS, "tail")) == ()


def test_where_all_stand_still_the_link_is_lost_and_no_sensor(make_readings: Make) -> None:
    amps = {n: np.where(LATE, 0.9, v) for n, v in currents(*WINGS, "tail").items()}
    assert stood_still(readings_of(amps, make_readings, whole=False), (*WINGS, "tail")) == ()


def test_only_what_stood_still_is_cut(make_readings: Make) -> None:
    made = readings_of(currents(*WINGS), make_readings, whole=False)
    frozen = FrozenCurrent(place="left wing", start_s=200.0, end_s=ENDS_S[-1], value_a=0.9)
    left, right = without_frozen(made, [frozen]).of(I)
    assert left.t.tolist() == [t for t in T.tolist() if t <= 200.0]
    assert right.t.tolist() == T.tolist()
