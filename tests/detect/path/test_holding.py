"""A bus that is held below its packs, or seems to be: by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from telemetry.aircraft import Aircraft
from telemetry.detect.path.holding import find_droops
from telemetry.model.channels import Quantity
from telemetry.readings import Readings
from telemetry.results import DroopKind, Phase, PhaseKind

PAIR = Aircraft.model_validate({"bus": "bus", "packs": [{"name": "pack 1"}, {"name": "pack 2"}]})
T = np.arange(0.0, 300.0, 0.25)
PHASES = (
    Phase(kind=PhaseKind.GROUND, start_s=0.0, end_s=60.0),
    Phase(kind=PhaseKind.FLIGHT, start_s=60.0, end_s=300.0),
)
WAY_OHM, DROP_OUT_V, SET_V = 0.02, 0.1, 6.75


@pytest.mark.parametrize(
    ("charging", "logged", "told"),
    [(True, True, False), (True, False, True), (False, True, True)],
    ids=["one charges the other", "which no current tells", "a regulator"],
)
def test_what_one_pack_gives_into_another_shows_no_regulator(
    charging: bool, logged: bool, told: bool, make_readings: Callable[..., Readings]
) -> None:
    """For a minute the first pack gives up to 6 A more than is drawn, and stands as much higher.

    Read with the current of the whole that looks as what a regulator holds at first and lets go.
    """
    rng = np.random.default_rng(8)
    drawn = 1.0 + 6.0 * np.clip(np.sin(T / 4.0), 0.0, 1.0) * (T > 60.0)
    beyond = 6.0 * np.exp(-T / 40.0) * charging * (T < 60.0)
    bus = 6.84 - 0.3 * np.clip((T - 60.0) / 30.0, 0.0, 1.0) - 0.04 * drawn
    first = bus + WAY_OHM * (0.5 * drawn + beyond)
    second = bus + WAY_OHM * 0.5 * drawn
    if not charging:
        first, second = first + DROP_OUT_V + 0.2, second + DROP_OUT_V + 0.2
        bus = np.minimum(first - DROP_OUT_V - WAY_OHM * drawn, SET_V)
    series = {
        ("bus", Quantity.VOLTAGE): (T, bus + 0.003 * rng.standard_normal(T.size)),
        ("bus", Quantity.CURRENT): (T, drawn),
        ("pack 1", Quantity.VOLTAGE): (T, first + 0.003 * rng.standard_normal(T.size)),
        ("pack 2", Quantity.VOLTAGE): (T, second + 0.003 * rng.standard_normal(T.size)),
    }
    if logged:
        series["pack 1", Quantity.CURRENT] = (T, 0.5 * drawn + beyond)
        series["pack 2", Quantity.CURRENT] = (T, 0.5 * drawn)
    readings = make_readings(series, update_s=0.25, resolution=0.01, row_s=0.25, end_s=300.0)
    found = find_droops(readings, PAIR, PHASES)
    assert [d.kind for d in found] == ([DroopKind.DROP_OUT] if told else [])
