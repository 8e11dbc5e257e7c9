"""Leads whose resistance changed in the air."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.resistance import parent_reading
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.numerics.resistance.stretches import ohm_stretch
from telemetry.numerics.sampling import outside
from telemetry.numerics.statistics.lines import line_slope
from telemetry.readings import Reading, Readings, block_means, part_standing
from telemetry.results import LeadChange, Phase, PhaseKind, Resistance

#: Blocks, s and readings: long enough that what voltage and current missed of each other is small.
_BLOCK_S, _READINGS = 3.0, 8
#: What a mean may be off besides: a slow voltage stands at one place within its step for long, and
#: an error anywhere within a step has a variance of step squared / 12.
_FLOOR_V, _UNIFORM = 0.002, 12.0

_LEFT_OUT = (PhaseKind.REDUNDANCY_CHECK, PhaseKind.STIR)


def lead_changes(
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
    resistances: Sequence[Resistance],
) -> tuple[LeadChange, ...]:
    """For each lead with a fitted resistance its likeliest stretch with another one.

    Parameters
    ----------
    readings : Readings
        Of one flight.
    aircraft : Aircraft
    phases : sequence of Phase
        Redundancy checks are left out.
    resistances : sequence of Resistance

    Returns
    -------
    tuple of LeadChange
        One for each branch whose own current is logged and that held enough blocks, found or not:
        its error says what would have shown.
    """
    out = []
    for r in resistances:
        volts = readings.get(Quantity.VOLTAGE, r.place)
        amps = readings.get(Quantity.CURRENT, r.place)
        above = parent_reading(r.place, readings, aircraft)
        if r.kind != "branch" or volts is None or amps is None or above is None:
            continue
        # What a regulator takes is no resistance: a way from a pack has to be known to have none.
        if aircraft.kind(above.place) is PlaceKind.PACK and r.regulated is not False:
            continue
        if above.place != r.parent or min(x.size for x in (volts, amps, above)) < _READINGS:
            continue
        found = _change(above, volts, amps, phases)
        if found is not None:
            out.append(found)
    return tuple(out)


def _change(
    above: Reading, volts: Reading, amps: Reading, phases: Sequence[Phase]
) -> LeadChange | None:
    slowest = max(r.update_s or 0.0 for r in (above, volts, amps))
    block_s = max(_BLOCK_S, _READINGS * slowest)
    start = max(r.t[0] for r in (above, volts, amps))
    end = min(r.t[-1] for r in (above, volts, amps))
    edges = np.arange(start, end, block_s)
    if edges.size < 3:
        return None
    drop = block_means(above.t, above.v, edges) - block_means(volts.t, volts.v, edges)
    mean = block_means(amps.t, amps.v, edges)
    swing = np.sqrt(np.maximum(block_means(amps.t, amps.v**2, edges) - mean**2, 0.0))
    # In a stir the sticks may go round as the sensors do: their means beat.
    apart = [(p.start_s - block_s, p.end_s) for p in phases if p.kind in _LEFT_OUT]
    keep = np.isfinite(drop) & np.isfinite(mean) & outside(edges[:-1], apart)
    slope = line_slope(mean[keep], drop[keep])
    if slope is None:
        return None
    ohm = abs(slope)
    few = max(block_s / max(slowest, 0.05), 1.0)
    steps = [r.resolution or 0.0 for r in (above, volts)]
    stands = [part_standing(r, edges[:-1][keep], block_s) for r in (above, volts)]
    noise = np.sqrt(_FLOOR_V**2 + max(steps) ** 2 / _UNIFORM + (ohm * swing[keep]) ** 2 / few)
    missed = swing[keep] / np.sqrt(few)
    found = ohm_stretch(drop[keep], mean[keep], noise, missed, sum(steps))
    if found is None:
        return None
    at = np.append(edges[:-1][keep], end)
    return LeadChange(
        place=volts.place,
        parent=above.place,
        start_s=float(at[found.first]),
        end_s=None if found.end >= keep.sum() - 1 else float(at[found.end]),
        from_start=found.first <= 1,
        usual_mohm=1000.0 * found.usual_ohm,
        change_mohm=1000.0 * found.change_ohm,
        error_mohm=1000.0 * found.se_ohm,
        seconds=(found.end - found.first) * block_s,
        rms_a=float(np.sqrt(np.mean(mean[keep][found.first : found.end] ** 2))),
        step_v=max(s * part for s, part in zip(steps, stands, strict=True)),
        confirmed=found.confirmed,
    )
