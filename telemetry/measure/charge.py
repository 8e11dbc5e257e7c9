"""Charge drawn at each place: what the counter says, what the current adds up to, whose share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.sharing import Sharing
from telemetry.model.channels import Quantity
from telemetry.numerics.charge import charge_mah, counter_rise, integrate_charge
from telemetry.numerics.sampling import held_at, longest_steps, outside
from telemetry.readings import Reading, Readings
from telemetry.results import Charge, Phase, PhaseKind

# Gain error of a current sensor (common practice, no source: 1 to 2 %), as standard uncertainty.
_GAIN = 0.01
# At rest the current is in the lowest part of its range (heuristic); where it never falls below
# this part of its high values there was no rest. Medians are over a few readings.
_REST_PART, _REST_FLOOR = 0.15, 0.3
_LEAST, _FEW = 3, 20
# So many distinct values do not tell a step; no file writes more digits that matter (heuristic).
_TELLING, _DIGITS = 5, 6
# Only the first and last minutes of a flight tell its start and end (heuristic).
_ENDS_S = 180.0


def measure_charge(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase], sharing: Sharing
) -> tuple[Charge, ...]:
    """Charge of each place with a current or a counter.

    Parameters
    ----------
    readings : Readings
        Of the flight.
    aircraft : Aircraft
    phases : sequence of Phase
    sharing : Sharing
        Of the same flight.

    Returns
    -------
    tuple of Charge
        ``uncertain_mah`` is the standard uncertainty of the integral: misses between readings,
        gaps, resolution as offset, gain, and all that flowed back.
    """
    share = {s.place: s.share.value for s in sharing.of_flight}
    places = dict.fromkeys(
        r.place
        for r in readings.channels
        if r.channel.quantity in (Quantity.CURRENT, Quantity.CONSUMED)
        and r.place
        and not r.channel.hold
    )
    return tuple(_at(place, share.get(place), readings, aircraft, phases) for place in places)


def _at(
    place: str,
    share: float | None,
    readings: Readings,
    aircraft: Aircraft,
    phases: Sequence[Phase],
) -> Charge:
    amps = readings.get(Quantity.CURRENT, place)
    counter = readings.get(Quantity.CONSUMED, place)
    integrated = uncertain = None
    if amps is not None and amps.size >= 2:
        drawn = integrate_charge(
            amps.t,
            amps.v,
            max_gap_s=longest_steps(
                amps.t,
                amps.update_s or 0.0,
                intervals=aircraft.limits.gap_intervals,
                least_s=aircraft.limits.gap_s,
            ),
            noise_a=missed_by_reading(amps),
            offset_a=0.5 * sensor_step_a(amps),
        )
        integrated = drawn.best_mah
        # A counter may count what flows back into a pack (a charger, a cell tester), or not.
        back_mah = charge_mah(amps.t, np.maximum(-amps.v, 0.0))
        uncertain = 0.5 * drawn.half_width_mah(2.0 * _GAIN) + back_mah
    logged = None
    if counter is not None and counter.size >= 2:
        logged = _rise(counter)
        if uncertain is not None and amps is not None:
            # What was counted while no current was read is in no integral.
            ends = ((counter.t[0], amps.t[0]), (amps.t[-1], np.inf))
            uncertain += sum(_rise(counter.within(a, b)) for a, b in ends)
    first, last = rest_volts(place, amps, readings, phases)
    return Charge(
        place=place,
        logged_mah=logged,
        integrated_mah=integrated,
        share=share,
        start_v=first,
        end_v=last,
        uncertain_mah=uncertain,
    )


def _rise(counter: Reading) -> float:
    """Charge that a counter counted, mAh."""
    if counter.size < 2:
        return 0.0
    return counter_rise(counter.v, least_fall=2.0 * (counter.resolution or 0.0))


def sensor_step_a(amps: Reading) -> float:
    """Step of the sensor, A, at most the last digit written where the values are too few to tell.

    Two values that a test bench holds are as far apart as the bench sets them, not one step.
    """
    known = amps.resolution or 0.0
    values = np.unique(amps.v)
    if values.size > _TELLING:
        return known
    digits = next((k for k in range(_DIGITS) if np.allclose(values, values.round(k))), _DIGITS)
    return min(known, 10.0**-digits)


def missed_by_reading(amps: Reading) -> float:
    """Standard deviation of what one reading may miss: half of how neighbours differ.

    The difference of two readings has twice the variance of one about the local mean.
    """
    return float(np.sqrt(0.5 * np.mean(np.diff(amps.v) ** 2)))


def rest_volts(
    place: str, amps: Reading | None, readings: Readings, phases: Sequence[Phase]
) -> tuple[float | None, float | None]:
    """Median voltage at rest near the start and near the end; None where it was never at rest.

    At rest: on the ground, and at little of the current drawn otherwise. Without phases at little
    of the current alone, where it ever fell so low.

    Parameters
    ----------
    place : str
        Where the voltage is read.
    amps : Reading or None
        The current that loads it.
    readings : Readings
    phases : sequence of Phase
    """
    volts = readings.get(Quantity.VOLTAGE, place)
    if volts is None or volts.size == 0:
        return None, None
    # A pack that is switched off is not at rest.
    on = volts.v > 0.5 * np.quantile(volts.v, 0.9)
    rest = on.copy()
    ground = [p for p in phases if p.kind is PhaseKind.GROUND]
    if ground:
        rest &= ~outside(volts.t, [(p.start_s, p.end_s) for p in ground])
    if amps is not None and amps.size >= 2:
        fed = held_at(volts.t, on.astype(float), amps.t, np.inf) > 0
        low, high = np.quantile(amps.v[fed] if fed.any() else amps.v, [0.01, 0.95])
        if not ground and low > _REST_FLOOR * high:
            return None, None
        flow = held_at(amps.t, amps.v, volts.t, 5.0 * (amps.update_s or 1.0))
        with np.errstate(invalid="ignore"):
            rest &= flow <= low + _REST_PART * (high - low)
    elif not ground:
        return None, None
    before = volts.v[rest & (volts.t < readings.start_s + _ENDS_S)][:_FEW]
    after = volts.v[rest & (volts.t > readings.end_s - _ENDS_S)][-_FEW:]
    first, last = (None if v.size < _LEAST else float(np.median(v)) for v in (before, after))
    return first, last
