"""Rest, stir and flight current of a place: stretches, means and intervals by hand."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import sqrt
from typing import Any

import numpy as np
import pytest

from telemetry.results import Flight, Phase, PhaseKind, Stir, StirPlace
from telemetry.trends.features.currents import current_features, resting_current
from telemetry.trends.measures import Measure

Make = Callable[..., Any]
G, F, S = PhaseKind.GROUND, PhaseKind.FLIGHT, PhaseKind.STIR

# Rounding of values that all are the same: a step of 1 over sqrt(12).
STEP = 1 / sqrt(12)
# Student's t, two-sided 95 %, from the usual table: by degrees of freedom.
T95 = {3: 3.182446, 4: 2.776445, 7: 2.364624}


def phase(kind: PhaseKind, start_s: float, end_s: float) -> Phase:
    return Phase(kind=kind, start_s=start_s, end_s=end_s)


@pytest.fixture
def blocks(make_reading: Make) -> Callable[..., Any]:
    """Two readings in each second from 0.3 s on, both of the value given for that second."""

    def make(values: Sequence[float], resolution: float | None = None, begin: float = 0.0) -> Any:
        t = begin + 0.55 + 0.5 * np.arange(2 * len(values))
        v = np.repeat(np.array(values, dtype=float), 2)
        return make_reading("tail", t, v, update_s=0.5, resolution=resolution)

    return make


def ground(seconds: float) -> Phase:
    """Ground that holds so many stretches of 1 s between its edges of 0.3 s."""
    return phase(G, 0.0, seconds + 0.6)


# At rest.


def test_rest_is_the_middle_of_the_lower_half_of_stretches(blocks: Make) -> None:
    r = blocks([0.6, 0.1, 0.7, 0.2, 0.8, 0.3, 0.9, 0.4, 1.0, 0.5])
    m = resting_current("tail", r, (ground(10),))
    assert (m.place, m.feature, m.unit) == ("tail", "rest_a", "A")
    assert m.value == pytest.approx(0.3)
    # 0.1 to 0.5: variance 0.1^2 (4 + 1 + 0 + 1 + 4) / 4 = 0.025; of five 0.005.
    assert m.high == pytest.approx(0.3 + 2 * sqrt(0.005))
    assert m.low == pytest.approx(0.3 - 2 * sqrt(0.005))


def test_rest_of_an_odd_number_of_stretches_and_never_below_zero(blocks: Make) -> None:
    m = resting_current("tail", blocks([0.01, 0.03, 5.0, 6.0, 7.0]), (ground(5),))
    # 0.01 and 0.03 of five: deviation 0.02 / sqrt(2), of the mean 0.01.
    assert m.value == pytest.approx(0.02)
    assert (m.low, m.high) == (0.0, pytest.approx(0.04))


@pytest.mark.parametrize(("n", "value"), [(3, None), (4, 0.2)])
def test_rest_needs_four_stretches(blocks: Make, n: int, value: float | None) -> None:
    m = resting_current("tail", blocks([0.1, 0.3, 5.0, 6.0][:n]), (ground(n),))
    assert m.value == (None if value is None else pytest.approx(value))
    assert m.feature == "rest_a"


def test_stretches_without_a_reading_do_not_count(blocks: Make) -> None:
    # Six seconds of ground, readings in the first three.
    assert resting_current("tail", blocks([0.1, 0.2, 0.3]), (ground(6),)).value is None
    assert resting_current(
        "tail", blocks([0.1, 0.3, 0.4, 0.5]), (ground(6),)
    ).value == pytest.approx(0.2)


def test_rounding_of_quiet_readings_is_part_of_the_error(blocks: Make) -> None:
    m = resting_current("tail", blocks([5.0] * 6 + [9.0] * 4, resolution=1.0), (ground(10),))
    assert m.value == 5.0
    assert (m.low, m.high) == pytest.approx((5 - 2 * STEP, 5 + 2 * STEP))
    both = resting_current("tail", blocks([4.0, 6.0, 9.0, 9.0], resolution=1.0), (ground(4),))
    # Deviation of two 1 apart from their mean, of the mean 1; the quiet half are 4 4 6 6 9 9 9 9
    # up to 7.5, whose scatter of sqrt(2) about its top leaves nothing of the rounding.
    assert both.high == pytest.approx(5.0 + 2.0)


def test_rest_is_on_the_ground_before_the_flight(blocks: Make) -> None:
    r = blocks([0.1, 0.2, 5.0, 6.0, 9.0, 9.0, 9.0, 9.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    phases = (ground(4), phase(F, 4.6, 8.3), phase(G, 8.3, 13.6))
    assert resting_current("tail", r, phases).value == pytest.approx(0.15)
    assert resting_current("tail", r, (phase(F, 0.0, 8.0),)).value is None
    # Two stretches of ground add up; the edges of both are left out.
    two = (phase(G, 0.0, 2.6), phase(S, 2.6, 8.0), phase(G, 8.0, 10.6), phase(F, 10.6, 12.0))
    r = blocks([0.4, 0.6, 9.0, 9.0, 9.0, 9.0, 9.0, 9.0, 0.5, 0.7])
    assert resting_current("tail", r, two).value == pytest.approx(0.45)


# In the stir.


def stir(start_s: float, seconds: float, *, after: bool = False, **tail: float | None) -> Stir:
    names = ("rest_a", "mean_a", "p95_a", "peak_a", "mah", "lowest_v", "sag_mohm", "after_a")
    rows = {
        "tail": {**dict.fromkeys(names), **tail},
        "bus": {**dict.fromkeys(names), "mean_a": 10.0, "p95_a": 99.0, "peak_a": 99.0},
    }
    return Stir(
        start_s=start_s,
        end_s=start_s + seconds + 0.6,
        rhythm_hz=None,
        after_flight=after,
        places=tuple(StirPlace(place=p, **row) for p, row in rows.items()),
    )


def flight(*stirs: Stir, phases: tuple[Phase, ...] = ()) -> Flight:
    return Flight(start_s=0.0, end_s=100.0, kind="flight", phases=phases, stirs=stirs)


def found(*args: Any) -> dict[str, Measure]:
    made = current_features("tail", *args)
    assert all(m.place == "tail" and m.unit == "A" and m.value is not None for m in made)
    assert len({m.feature for m in made}) == len(made)
    return {m.feature: m for m in made}


def test_stirs(blocks: Make) -> None:
    r = blocks([2.0] * 10, resolution=1.0)
    rows = found(
        r,
        flight(
            stir(0.0, 2, mean_a=1.0, p95_a=2.0, peak_a=3.0),
            stir(4.0, 2, mean_a=2.0, p95_a=4.0, peak_a=7.0),
            stir(7.0, 2, mean_a=None, p95_a=None, peak_a=6.0),
            stir(50.0, 2, mean_a=50.0, p95_a=50.0, peak_a=50.0, after=True),
        ),
        [],
    )
    assert set(rows) == {"stir_mean_a", "stir_p95_a", "stir_peak_a"}
    assert rows["stir_mean_a"].value == pytest.approx(1.5)
    assert rows["stir_p95_a"].value == pytest.approx(3.0)
    assert rows["stir_peak_a"].value == 7.0
    assert rows["stir_p95_a"].low is None
    assert rows["stir_peak_a"].high is None


def test_interval_of_the_mean_in_the_stir(blocks: Make) -> None:
    rows = found(blocks([2.0] * 4, resolution=1.0), flight(stir(0.0, 4, mean_a=9.0)), [])
    # About the mean of its four stretches; a scatter of 0, but for the rounding.
    reach = T95[3] * STEP / 2
    assert rows["stir_mean_a"].low == pytest.approx(2.0 - reach)
    assert rows["stir_mean_a"].high == pytest.approx(2.0 + reach)


def test_what_flows_after_a_stir_over_rest(blocks: Make) -> None:
    stirs = [
        stir(0.0, 2, rest_a=0.2, after_a=0.5),
        stir(3.0, 2, rest_a=0.2, after_a=1.5),
        stir(6.0, 2, rest_a=0.3, after_a=0.4),
        stir(9.0, 2, rest_a=None, after_a=9.0),
        stir(12.0, 2, rest_a=9.0, after_a=None),
    ]
    rows = found(blocks([2.0] * 4), flight(*stirs), [])
    assert rows["stir_afterwards_a"].value == pytest.approx(0.3)
    assert "stir_afterwards_a" not in found(blocks([2.0] * 4), flight(*stirs[3:]), [])


# In the air.


def test_air(make_reading: Make) -> None:
    t = 10.0 + 2.0 * np.arange(21)
    r = make_reading("tail", t, np.arange(21.0), update_s=2.0, resolution=None)
    rows = found(r, flight(), [(10.0, 50.1)])
    assert rows["air_mean_a"].value == pytest.approx(10.0)
    assert rows["air_p95_a"].value == pytest.approx(19.0)  # 5 % of 20 below the top
    parts = found(r, flight(), [(10.0, 30.0), (30.0, 50.1)])
    assert parts["air_mean_a"].value == pytest.approx(10.0)
    assert set(found(r, flight(), [])) == set()


@pytest.mark.parametrize(("n", "told"), [(19, False), (20, True)])
def test_air_needs_twenty_readings(make_reading: Make, n: int, told: bool) -> None:
    r = make_reading("tail", np.arange(float(n)), np.ones(n), update_s=1.0)
    assert ("air_mean_a" in found(r, flight(), [(0.0, 50.0)])) is told


@pytest.mark.parametrize(
    ("update_s", "seconds", "blocks_n"),
    [(0.5, 40.0, 8), (4.0, 40.0, 5), (0.5, 20.0, 4)],
    ids=["5 s each", "two readings of 4 s each", "of a short flight"],
)
def test_interval_of_the_mean_in_the_air(
    make_reading: Make, update_s: float, seconds: float, blocks_n: int
) -> None:
    # More readings than the interval tells, so that a slow one has twenty as well.
    t = 0.25 + 0.5 * np.arange(int(2 * seconds))
    r = make_reading("tail", t, np.full(t.size, 2.0), update_s=update_s, resolution=1.0)
    rows = found(r, flight(), [(0.0, seconds)])
    reach = T95[blocks_n - 1] * STEP / sqrt(blocks_n)
    assert rows["air_mean_a"].low == pytest.approx(2.0 - reach)
    assert rows["air_mean_a"].high == pytest.approx(2.0 + reach)


def test_rest_comes_first(blocks: Make) -> None:
    rows = found(blocks([0.1, 0.3, 0.4, 0.5]), flight(phases=(ground(4),)), [])
    assert list(rows) == ["rest_a"]
