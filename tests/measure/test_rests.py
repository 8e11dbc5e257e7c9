"""What is rest on the ground: nothing is commanded and nothing moves, at no place."""

from __future__ import annotations

import numpy as np
import pytest

from telemetry.model.channels import Quantity
from telemetry.readings import still_spans
from telemetry.results import UnusualKind
from tests.measure.test_currents import ALL, ENDS_S, STEP_S, WINGS, T, currents, found

I, C = Quantity.CURRENT, Quantity.CONTROL  # noqa: E741
GROUND = [(0.0, 60.0), (100.0, 160.0)]
RNG_SEED = 5


def still(make_readings, amps, sticks=None):
    t = np.arange(0.0, 160.0, STEP_S)
    series = {(p, I): (t, v(t)) for p, v in amps.items()}
    series |= {(p, C): (t, v(t)) for p, v in (sticks or {}).items()}
    made = make_readings(series, update_s=STEP_S, resolution=0.01, row_s=STEP_S, unit="%")
    return still_spans(made, [r for r in made.channels if r.channel.quantity is I], GROUND)


def quiet(t):
    return 0.2 + 0.01 * np.random.default_rng(RNG_SEED).standard_normal(t.size)


def taxies(t):
    """A rudder that steers from 120 s on."""
    return quiet(t) + np.where(t >= 120.0, 0.4 * np.abs(np.sin(1.9 * t)), 0.0)


def trembles(t):
    return quiet(t) + 0.8 * (np.arange(t.size) % 2)


def seconds(spans, start_s, end_s):
    return sum(max(0.0, min(b, end_s) - max(a, start_s)) for a, b in spans)


def test_what_steers_on_the_ground_is_no_rest(make_readings) -> None:
    spans = still(make_readings, {"left wing": quiet, "right wing": quiet, "tail": taxies})
    assert seconds(spans, 0.0, 60.0) > 55.0
    assert seconds(spans, 100.0, 119.0) > 17.0
    assert seconds(spans, 122.0, 160.0) == 0.0
    assert seconds(spans, 61.0, 100.0) == 0.0


def test_what_always_trembles_hides_no_rest(make_readings) -> None:
    spans = still(make_readings, {"left wing": quiet, "right wing": quiet, "tail": trembles})
    assert seconds(spans, 0.0, 160.0) > 100.0


def test_sticks_tell_it_where_they_are_logged(make_readings) -> None:
    """A current that swings alone while no stick moves may be at fault: it is at rest."""
    amps = {"left wing": quiet, "right wing": quiet, "tail": taxies}
    held = {name: (lambda t: 100.0 * (t < 5.0)) for name in ("aileron", "rudder")}
    assert seconds(still(make_readings, amps, held), 122.0, 160.0) > 35.0
    steers = {**held, "rudder": lambda t: np.where(t >= 120.0, 60.0 * np.sin(1.9 * t), 0.0)}
    assert seconds(still(make_readings, amps, steers), 122.0, 160.0) == 0.0
    leans = {**held, "rudder": lambda t: np.where(t >= 120.0, 60.0, 100.0 * (t < 5.0))}
    assert seconds(still(make_readings, amps, leans), 122.0, 160.0) == 0.0


@pytest.mark.parametrize("falls_back", [True, False])
def test_taxiing_home_is_no_strain(falls_back: bool, make_readings) -> None:
    """Up elevator and a rudder that steers: the tail draws more than it did before take-off.

    A log that ends so tells no rest after landing; six seconds of rest tell that nothing strains.
    """
    rng = np.random.default_rng(3)
    amps = currents(*ALL, seed=8)
    home = ENDS_S[3] <= T
    resting = (ENDS_S[3] + 8.0 <= T) & (ENDS_S[3] + 14.0 > T) if falls_back else np.zeros(T.size)
    steers = 0.5 + 0.3 * np.abs(np.sin(1.7 * T + rng.uniform(0, 6)))
    amps["tail"] = amps["tail"] + steers * home * (1 - resting)
    assert found(amps, make_readings) == {}


@pytest.mark.parametrize("names", [WINGS, ALL])
def test_what_never_falls_back_after_landing_stays_up(names, make_readings) -> None:
    amps = currents(*names, seed=8)
    amps["left wing"] = amps["left wing"] + 0.9 * (ENDS_S[3] - 2.0 <= T)
    here = found(amps, make_readings)
    assert {p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.STAYS_UP}
    assert here["left wing"].rest_after == pytest.approx(1.1, abs=0.05)


@pytest.mark.parametrize("on_s", [3.0, 12.0])
def test_a_pump_switched_on_before_the_stir_is_no_strain(on_s: float, make_readings) -> None:
    """It ran for most of the rest before take-off, and after landing as well; it hides nothing."""
    amps = currents(*ALL, seed=8)
    amps["nose"] = amps["nose"] + 1.2 * (on_s < T)
    assert found(amps, make_readings) == {}
    amps["left wing"] = amps["left wing"] + 0.9 * (ENDS_S[3] - 2.0 <= T)
    here = found(amps, make_readings)
    assert {p: u.kind for p, u in here.items()} == {"left wing": UnusualKind.STAYS_UP}
