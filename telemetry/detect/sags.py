"""Voltage events: sags and level shifts, undervoltage.

The event definition is that of IEC 61000-4-30 for voltage dips, carried over to DC: the half-cycle
r.m.s. value is replaced by the sampled one. What the load explains of an event, and where it came
from, is judged afterwards (telemetry.detect.path.placing): a detector only measures.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.detect.phases import phase_at
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.baseline import find_dips
from telemetry.readings import Reading, Readings, Total, total_current
from telemetry.results import Event, EventKind, Phase


def find_voltage_events(
    readings: Readings,
    phases: tuple[Phase, ...],
    aircraft: Aircraft,
    limits: Limits,
    floors_v: Mapping[str, float] | None = None,
) -> tuple[Event, ...]:
    """Sags, shifts and undervoltage at every place with a voltage, in time order.

    Parameters
    ----------
    readings : Readings
        Of one flight or bench recording.
    phases : tuple of Phase
    aircraft : Aircraft
        Its regulated voltage, where known, is the fixed reference of the bus.
    limits : Limits
    floors_v : mapping, optional
        Floor under load of each pack whose chemistry and cell count are known, V.
    """
    total = total_current(readings, aircraft)
    levels = low_levels(readings, aircraft, floors_v or {})
    events: list[Event] = []
    for r in readings.of(Quantity.VOLTAGE):
        series = minimum_series(readings, r)
        events += _sags(readings, series, phases, aircraft, limits, total)
        if r.place in levels:
            events += _under(readings, series, phases, levels[r.place], limits, total)
    return tuple(sorted(events, key=lambda e: (e.start_s, e.place, e.kind)))


def low_levels(
    readings: Readings, aircraft: Aircraft, floors_v: Mapping[str, float]
) -> dict[str, float]:
    """Voltage that each place should not fall below, V.

    Of a pack the floor under load, where that is known. Of all other places, and of a pack that is
    the only supply of the log, the lowest comfortable supply: the place's own, or the usual one.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
    floors_v : mapping
        Floors of packs, V.
    """
    out: dict[str, float] = {}
    for r in readings.of(Quantity.VOLTAGE):
        level = floors_v.get(r.place)
        if level is None and (
            aircraft.kind(r.place) is not PlaceKind.PACK or _is_only_supply(readings, r.place)
        ):
            level = aircraft.comfort_v(r.place, r.rest_v)
        if level is not None:
            out[r.place] = level
    return out


def minimum_series(readings: Readings, r: Reading) -> Reading:
    """The unit's own minimum-hold of that voltage where it restarts every report; else the samples.

    A minimum over the last report interval can hide no dip. A minimum since switching on (it
    never rises) only tells the lowest value of all.
    """
    held = readings.get(Quantity.VOLTAGE, r.place, hold="min")
    if held is None or held.size < 10 or r.size < 10:
        return r
    rises = int((np.diff(held.v) > 0).sum())
    often = held.size >= 0.5 * r.size
    return held if often and rises > 0.1 * held.size else r


def _is_only_supply(readings: Readings, place: str) -> bool:
    """A pack that feeds the servos directly: the only voltage of the log, and no flight battery."""
    volts = readings.of(Quantity.VOLTAGE)
    return len(volts) == 1 and volts[0].place == place and float(np.median(volts[0].v)) < 9.0


def _sags(
    readings: Readings,
    r: Reading,
    phases: tuple[Phase, ...],
    aircraft: Aircraft,
    limits: Limits,
    total: Total | None,
) -> list[Event]:
    fixed = aircraft.regulated_v if r.place == aircraft.bus else None
    dips, _ = find_dips(
        r.t,
        r.v,
        pct=limits.sag_pct,
        least=limits.sag_v,
        hysteresis_pct=limits.sag_hysteresis_pct,
        resolution=r.resolution or 0.0,
        open_s=limits.sag_open_s,
        hold_s=r.hold_s(limits),
        fixed=fixed,
        tau_s=limits.reference_s,
    )
    out = []
    for d in dips:
        kind = EventKind.SHIFT if d.shift else EventKind.SAG
        end_s = d.end_s if not d.truncated else d.end_s + min(r.update_s or 0.0, limits.gap_s)
        out.append(
            _event(
                readings,
                r,
                kind,
                (d.first, d.last, end_s, d.truncated),
                d.reference,
                phases,
                total,
            )
        )
    return out


def _under(
    readings: Readings,
    r: Reading,
    phases: tuple[Phase, ...],
    level: float,
    limits: Limits,
    total: Total | None,
) -> list[Event]:
    dips, _ = find_dips(
        r.t,
        r.v,
        pct=0.0,
        least=0.0,
        hysteresis_pct=limits.sag_hysteresis_pct,
        resolution=r.resolution or 0.0,
        open_s=np.inf,
        hold_s=r.hold_s(limits),
        fixed=level,
    )
    return [
        _event(
            readings,
            r,
            EventKind.UNDERVOLTAGE,
            (d.first, d.last, d.end_s, d.truncated),
            level,
            phases,
            total,
        )
        for d in dips
    ]


def _event(
    readings: Readings,
    r: Reading,
    kind: EventKind,
    extent: tuple[int, int, float, bool],
    reference: float,
    phases: tuple[Phase, ...],
    total: Total | None,
) -> Event:
    first, last, end_s, truncated = extent
    t, v = r.t[first:last], r.v[first:last]
    start = float(t[0])
    lowest = float(v.min())
    return Event(
        kind=kind,
        place=r.place,
        start_s=start,
        end_s=max(end_s, start),
        truncated=truncated,
        reference_v=reference,
        residual_v=lowest,
        depth_v=reference - lowest,
        deficit_vs=deficit_vs(t, v, reference, end_s),
        peak_a=_peak(readings, r.place, start, end_s, total),
        phase=phase_at(phases, start),
        updates=last - first,
    )


def deficit_vs(t: FloatArray, v: FloatArray, reference: float, end_s: float) -> float:
    """Area below the reference, V s: each reading holds until the next, the last until the end."""
    step = np.diff(np.r_[t, max(end_s, float(t[-1]))])
    return float((np.maximum(reference - v, 0.0) * step).sum())


def _peak(
    readings: Readings, place: str, start_s: float, end_s: float, total: Total | None
) -> float | None:
    """Highest current about the event: the place's own, else the whole's.

    The current's last report before the event and the first one after it count too: the two
    sensors report at different instants.
    """
    own = readings.get(Quantity.CURRENT, place)
    if own is not None and own.size:
        t, v, reach = own.t, own.v, own.update_s or readings.row_s
    elif total is not None:
        t, v, reach = total.t, total.v, total.update_s
    else:
        return None
    lo, hi = np.searchsorted(t, [start_s - reach, end_s + reach])
    return float(v[lo:hi].max()) if hi > lo else None
