"""A supply that gives way against one that only falls with its load; values worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from telemetry import review
from telemetry.detect.path.giving_way import gave_way, most_by_load
from telemetry.model.channels import Quantity

RNG = np.random.default_rng(12)
T = np.arange(0.0, 300.0, 0.2)
AMPS = np.where(T < 60.0, 0.5, 1.0) + np.where(T < 60.0, 0.1, 2.5) * np.abs(
    RNG.standard_normal(T.size)
)
NOISE = 0.004 * RNG.standard_normal(T.size)


def held(ohm: float) -> np.ndarray:
    return 6.0 - ohm * AMPS + NOISE


@pytest.mark.parametrize("ohm", [0.01, 0.05, 0.12])
def test_what_the_supply_s_own_resistance_makes_is_no_giving_way(ohm: float) -> None:
    deepest = ohm * float(AMPS.max())
    assert not gave_way(deepest, 1.5, most_by_load((T, held(ohm)), (T, AMPS)))


def test_a_fall_far_beyond_it_is_if_the_packs_had_room() -> None:
    """At 10 mOhm some 10 A make 0.1 V: 0.8 V is more than twice that and 0.2 V."""
    assert gave_way(0.8, 1.5, most_by_load((T, held(0.01)), (T, AMPS)))
    assert not gave_way(0.8, 0.2, most_by_load((T, held(0.01)), (T, AMPS)))


def test_a_log_without_a_slope_at_light_load_tells_nothing() -> None:
    assert not gave_way(0.8, 1.5, most_by_load((T, held(0.01)), (T, np.full(T.size, 2.0))))
    assert not gave_way(0.8, 1.5, most_by_load((T[:20], held(0.01)[:20]), (T[:20], AMPS[:20])))


def test_a_bus_that_gives_way_is_laid_to_the_supply(make_case) -> None:
    """A regulator at 6.0 V that gives 0.2 V an ampere beyond 5 A, from packs of 8 V."""
    case = make_case("rest 20, stir 12, rest 20, flight 150, rest 20", seed=13)
    frame = case.log.frame.copy()
    total = sum(
        frame[c.key]
        for c in case.log.channels
        if c.quantity is Quantity.CURRENT and (c.place or "").startswith("pack")
    )
    knee = float(total.quantile(0.7))
    frame["bus/voltage"] = (6.0 - 0.01 * total - 0.3 * np.maximum(total - knee, 0.0)).round(2)
    found = review(replace(case.log, frame=frame))
    assert "regulator-droop" in {f.code for f in found.findings if f.place == "bus"}
    sound = frame.assign(**{"bus/voltage": (6.0 - 0.03 * total).round(2)})
    found = review(replace(case.log, frame=sound))
    assert not [f for f in found.findings if f.code in ("regulator-droop", "switch-step")]
