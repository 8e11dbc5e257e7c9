"""A pack that another one charges: a current that flows into it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.away import HELD_S
from telemetry.model.channels import Quantity
from telemetry.numerics.sampling import held_at
from telemetry.readings import Readings, total_current

#: A current into a pack counts from here, A, and where so much flowed in all, mAh: two full packs
#: at one bus even out with less (heuristic).
LEAST_A, LEAST_MAH = 0.8, 10.0
#: The others give this part of it at least; the sum of all packs differs from the current of what
#: they feed by this part of it at most, else a sensor is off (heuristic).
_GIVEN, _ADDS_UP = 0.8, 0.5
_GRID_S = 0.25
_HIGH = 0.9


class Charging(NamedTuple):
    """What flowed into a pack: the higher part of it, A, for how long, s, and how much, mAh."""

    amps: float
    seconds: float
    mah: float


def charged_packs(readings: Readings, aircraft: Aircraft) -> dict[str, Charging]:
    """Packs that the others charged, by place.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    aircraft : Aircraft

    Returns
    -------
    dict
        Empty where fewer than two packs report a current.
    """
    known = [readings.get(Quantity.CURRENT, p.name) for p in aircraft.packs]
    flows = {r.place: r for r in known if r is not None and r.size}
    if len(flows) < 2:
        return {}
    grid = np.arange(readings.start_s, readings.end_s, _GRID_S)
    held = {name: held_at(r.t, r.v, grid, HELD_S) for name, r in flows.items()}
    whole = np.sum(list(held.values()), axis=0)
    total = total_current(readings, aircraft)
    taken = whole
    if total is not None and not set(total.places) & set(flows):
        taken = held_at(total.t, total.v, grid, HELD_S)
    out = {}
    for name, flow in held.items():
        with np.errstate(invalid="ignore"):
            into = (flow < -LEAST_A) & (whole - flow > -_GIVEN * flow)
            into &= ~(np.abs(whole - taken) > -_ADDS_UP * flow)
        amps = -flow[into]
        mah = float(amps.sum()) * _GRID_S / 3.6
        if mah >= LEAST_MAH:
            seconds = float(into.sum()) * _GRID_S
            out[name] = Charging(amps=float(np.quantile(amps, _HIGH)), seconds=seconds, mah=mah)
    return out
