"""The voltages that a pack should not fall below: under load, and at rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from telemetry.aircraft import CELL_V, Aircraft, Pack
from telemetry.measure.charge_state import guess_pack
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.readings import Readings

# The voltage at rest is read from the first readings of a recording (heuristic).
_REST_READINGS = 20
# A lithium cell that rests below this is damaged, V: lithium-polymer 3.0 (common practice, no
# source), the others the lowest voltage of cell makers' tables. Cells of nickel are none the worse.
DAMAGED_V = {"lipo": 3.0, "liion": 2.5, "life": 2.0}


class RestFloor(NamedTuple):
    """Of a lithium pack at rest, V: below ``floor_v`` it was run down, below ``damage_v`` damaged.

    ``cells`` is None where chemistry or cells are not known; then these are the lowest voltages of
    all lithium packs that it could be.
    """

    floor_v: float
    damage_v: float
    cells: int | None


def rest_floor(pack: Pack | None, rests_v: Sequence[float | None]) -> RestFloor | None:
    """The voltages at rest below which a pack is not to be charged; None where none is known.

    A cell at rest lies above itself under load: one that rests below its floor under load
    (:data:`telemetry.aircraft.CELL_V`) was drawn too low.

    Parameters
    ----------
    pack : Pack or None
        As the profile has it.
    rests_v : sequence of float or None
        Voltages at rest, V, before and after the flight, of the pack and of the one it shares the
        load with. The highest of them tells what a pack without a profile may be.
    """
    if pack is not None and pack.chemistry is not None and pack.cells is not None:
        if pack.chemistry not in DAMAGED_V:
            return None
        floor_v, damage_v = CELL_V[pack.chemistry][2], DAMAGED_V[pack.chemistry]
        return RestFloor(pack.cells * floor_v, pack.cells * damage_v, pack.cells)
    known = [v for v in rests_v if v is not None]
    fits = _fits(max(known), pack) if known else []
    lithium = [(kind, n) for kind, n in fits if kind in DAMAGED_V]
    if not lithium:
        return None
    return RestFloor(
        min(n * CELL_V[kind][2] for kind, n in lithium),
        min(n * DAMAGED_V[kind] for kind, n in lithium),
        None,
    )


def _fits(rest_v: float, pack: Pack | None) -> list[tuple[str, int]]:
    """What a pack may be by its voltage at rest and by what the profile says of it."""
    return [
        (kind, n)
        for kind, n in guess_pack(rest_v).candidates
        if pack is None or (pack.chemistry in (None, kind) and pack.cells in (None, n))
    ]


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
    for r in readings.of(Quantity.VOLTAGE):
        if aircraft.kind(r.place) is not PlaceKind.PACK:
            continue
        pack = aircraft.pack(r.place)
        if pack is not None and pack.chemistry is not None and pack.cells is not None:
            out[r.place] = CELL_V[pack.chemistry][2] * pack.cells
            continue
        if r.size < _REST_READINGS:
            continue
        rest = float(np.median(r.v[:_REST_READINGS]))
        fits = _fits(rest, pack) or guess_pack(rest).candidates
        if fits:
            out[r.place] = min(CELL_V[kind][2] * cells for kind, cells in fits)
    return out
