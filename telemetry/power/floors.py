"""The voltage under load that a pack should not fall below."""

from __future__ import annotations

import numpy as np

from telemetry.aircraft import CELL_V, Aircraft
from telemetry.channels import PlaceKind, Quantity
from telemetry.power.charge_state import guess_pack
from telemetry.readings import Readings

# The voltage at rest is read from the first readings of a recording (ours).
_REST_READINGS = 20


def pack_floors(readings: Readings, aircraft: Aircraft) -> dict[str, float]:
    """Floor under load of each pack with a voltage, V.

    From the profile's chemistry and cells. Where the profile has none, from what the voltage at
    rest allows: the lowest floor among all packs it could be, so that only a voltage that is too
    low for every one of them counts.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft

    Returns
    -------
    dict
        Place to floor; packs of which nothing can be said are left out.
    """
    out: dict[str, float] = {}
    for r in readings.of(Quantity.VOLTAGE, PlaceKind.PACK):
        pack = aircraft.pack(r.place)
        if pack is not None and pack.chemistry is not None and pack.cells is not None:
            out[r.place] = CELL_V[pack.chemistry][2] * pack.cells
            continue
        if r.size < _REST_READINGS:
            continue
        rest = float(np.median(r.v[:_REST_READINGS]))
        fits = guess_pack(rest).candidates
        if fits:
            out[r.place] = min(CELL_V[kind][2] * cells for kind, cells in fits)
    return out
