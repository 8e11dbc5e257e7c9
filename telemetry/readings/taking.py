"""From the rows of a log to its readings, with the false ones set aside."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.model.channels import Channel, Quantity
from telemetry.model.log import FloatArray, Log
from telemetry.numerics import sampling
from telemetry.readings.silence import OF_TRANSMITTER, dropouts_of, switched_off
from telemetry.readings.spurious import impossible, without_wild
from telemetry.readings.zeros import without_zeros
from telemetry.results import Span, Spurious
from telemetry.results.readings import Reading, Readings

_ELECTRICAL = (Quantity.VOLTAGE, Quantity.CELL_VOLTAGE, Quantity.CURRENT)


def take_readings(log: Log, limits: Limits, aircraft: Aircraft | None = None) -> Readings:
    """Update samples of every numeric channel, cleaned of what is no reading.

    Removed and listed: wild cells and single impossible readings (spurious), frozen or blank
    telemetry and a lost link written as zeros (dropouts). Removed and listed as ``off``: the supply
    not yet or no longer switched on at the ends of a recording, where voltages are near zero.

    Parameters
    ----------
    log : Log
    limits : Limits
    aircraft : Aircraft, optional
        What feeds what: a place that reads nothing while all that it feeds goes on reads wrong.
    """
    log, wild = without_wild(log)
    log, zeroed = without_zeros(log)
    time_s = log.time_s
    row_s = sampling.row_step(time_s)
    end_s = float(time_s[-1]) + (row_s if np.isfinite(row_s) else 0.0) if time_s.size else 0.0
    gaps = sampling.gap_spans(time_s, row_s, intervals=limits.gap_intervals, least_s=limits.gap_s)
    channels = [c for c in log.channels if not c.text and c.key in log.frame.columns]
    values = {c.key: log.values(c.key) for c in channels}
    intervals = _intervals(time_s, channels, values)
    raw = [
        Reading(
            channel=c,
            t=u.t,
            v=u.v,
            update_s=intervals[c.key],
            resolution=sampling.resolution(values[c.key]),
        )
        for c in channels
        for u in [sampling.update_samples(time_s, values[c.key], intervals[c.key])]
    ]
    dropouts = tuple(
        sorted((*dropouts_of(log, raw, gaps, limits), *zeroed), key=lambda d: d.start_s)
    )
    lost = [(d.start_s, d.end_s) for d in dropouts if d.place is None]
    cleaned: list[Reading] = []
    for r in raw:
        own = lost + [(d.start_s, d.end_s) for d in dropouts if d.place == r.place]
        lives_on = r.channel.quantity in OF_TRANSMITTER
        keep = sampling.outside(r.t, [] if lives_on else sorted(own))
        cleaned.append(r if keep.all() else replace(r, t=r.t[keep], v=r.v[keep]))
    off = switched_off(cleaned, log, gaps)
    powered = [_without(r, [(o.start_s, o.end_s) for o in off]) for r in cleaned]
    spurious: list[Spurious] = list(wild)
    final: list[Reading] = []
    for r in powered:
        fed = () if aircraft is None or r.place is None else aircraft.children(r.place)
        bad = impossible(r, powered, limits, fed)
        spurious += [
            Spurious(
                time_s=float(r.t[i]),
                place=r.place,
                column=r.channel.column,
                value=float(r.v[i]),
                reason=why,
            )
            for i, _, why in bad
        ]
        keep = np.ones(r.size, dtype=bool)
        for i, end, _ in bad:
            keep[i:end] = False
        final.append(r if keep.all() else replace(r, t=r.t[keep], v=r.v[keep]))
    return Readings(
        channels=tuple(final),
        row_s=row_s,
        start_s=0.0,
        end_s=end_s,
        gaps=tuple(Span(start_s=a, end_s=b) for a, b in gaps),
        dropouts=dropouts,
        spurious=tuple(sorted(spurious, key=lambda s: s.time_s)),
        off=off,
    )


def _intervals(
    time_s: FloatArray, channels: list[Channel], values: dict[str, FloatArray]
) -> dict[str, float | None]:
    """Update interval per channel; a quiet one takes that of a livelier one in its frame."""
    own = {c.key: sampling.update_interval(time_s, values[c.key]) for c in channels}
    changes = {c.key: sampling.change_rows(values[c.key]) for c in channels}
    out = dict(own)
    for c in channels:
        mine = own[c.key]
        if mine is None or c.place is None:
            continue
        best = mine
        for other in channels:
            theirs = own[other.key]
            if other.place == c.place and other is not c and theirs is not None:
                best = sampling.shared_interval(
                    best, changes[c.key], changes[other.key], theirs, time_s.size
                )
        out[c.key] = best
    return out


def _without(r: Reading, spans: list[tuple[float, float]]) -> Reading:
    if not spans or r.channel.quantity not in _ELECTRICAL:
        return r
    keep = sampling.outside(r.t, spans)
    return r if keep.all() else replace(r, t=r.t[keep], v=r.v[keep])
