"""Moments of lost contact: how far the drop to a place strays from what its current explains."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import outside
from telemetry.readings import Readings, total_current
from telemetry.results import WORKING_PHASES, Event, EventKind, Origin, Phase
from telemetry.trends.measures import Measure

# The tails are means of this part of the readings, and of so many at least (heuristic).
_TAIL, _LEAST = 0.005, 4
_FEW = 100
_FROM_ABOVE = (Origin.SUPPLY, Origin.PACK)


def drop_tails(
    readings: Readings,
    aircraft: Aircraft,
    phases: tuple[Phase, ...],
    events: Sequence[Event] = (),
) -> list[Measure]:
    """Mean of the largest and of the smallest strays of the drop to each node under load, V.

    The drop from the feeding place, less offset and resistance times current. Readings taken at
    different instants make it stray to both sides alike; a contact that opens for moments makes it
    stray upwards only.
    """
    out = []
    loaded = [(p.start_s, p.end_s) for p in phases if p.kind in WORKING_PHASES]
    total = total_current(readings, aircraft)
    for node in aircraft.nodes:
        parent = aircraft.parent(node.name)
        low = readings.get(Quantity.VOLTAGE, node.name)
        high = None if parent is None else readings.get(Quantity.VOLTAGE, parent)
        own = readings.get(Quantity.CURRENT, node.name)
        if low is None or high is None or low.size < _FEW or high.size < _FEW:
            continue
        if own is not None and own.size >= _FEW:
            amps_t, amps_v = own.t, own.v
        elif total is not None and total.t.size >= _FEW:
            amps_t, amps_v = total.t, total.v
        else:
            continue
        late_s = (low.update_s or 0.0) + (high.update_s or 0.0)
        falls = [
            (e.start_s - late_s, e.end_s + late_s)
            for e in events
            if e.place == parent and (e.origin in _FROM_ABOVE or e.kind is EventKind.BROWNOUT)
        ]
        keep = ~outside(low.t, loaded) & outside(low.t, falls)
        t, v = low.t[keep], low.v[keep]
        if t.size < _FEW:
            continue
        drop = np.interp(t, high.t, high.v) - v
        up, down = stray_tails(drop, np.interp(t, amps_t, amps_v))
        out += [
            Measure(place=node.name, feature="drop_tail_v", value=up, unit="V"),
            Measure(place=node.name, feature="drop_tail_other_v", value=down, unit="V"),
        ]
    return out


def stray_tails(drop: FloatArray, amps: FloatArray) -> tuple[float, float]:
    """Mean of the largest strays upwards and downwards of the drop from a line in the current."""
    design = np.stack([np.ones(amps.size), amps], axis=1)
    line, *_ = np.linalg.lstsq(design, drop, rcond=None)
    left = np.sort(drop - design @ line)
    n = max(_LEAST, round(_TAIL * left.size))
    return float(left[-n:].mean()), float(-left[:n].mean())
