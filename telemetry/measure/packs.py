"""What each pack gives, when one gives nothing, and why that may be no fault."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.measure.away import HELD_S, JUST_S, NEAR_S, dead_spans, sign_of
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import held_at, outside
from telemetry.numerics.spans import mask_to_spans, merge
from telemetry.readings import NO_SUPPLY_V, Reading, Readings, total_current
from telemetry.results import OutKind, OutSign, PackOut, Phase, PhaseKind

# A pack gives nothing below this share, and is known to give something above that one (heuristic).
_NOTHING, SOMETHING = 0.05, 0.2
# Packs give a quarter more than is taken only where one is charged; elsewhere their sum is within
# an eighth of it (heuristic: no pair of sensors is off by so much).
_FED, _ADDS_UP = 0.25, 0.125
# Shorter than this is an update that was missed; a check on the ground takes seconds (heuristic).
_LEAST_OUT_S = 1.0
_LONGEST_CHECK_S = 60.0
_GRID_S = 0.25


def pack_currents(readings: Readings, aircraft: Aircraft) -> dict[str, Reading] | None:
    """Current of each pack; of one that has none, the bus's less the others'."""
    names = [p.name for p in aircraft.packs]
    known = {n: r for n in names if (r := readings.get(Quantity.CURRENT, n)) is not None and r.size}
    absent = [n for n in names if n not in known]
    if len(names) < 2 or len(absent) > 1:
        return None
    if absent:
        bus = None if aircraft.bus is None else readings.get(Quantity.CURRENT, aircraft.bus)
        if bus is None or not bus.size:
            return None
        rest = bus.v - sum(held_at(r.t, r.v, bus.t, HELD_S) for r in known.values())
        at = np.isfinite(rest)
        known[absent[0]] = Reading(
            channel=bus.channel,
            t=bus.t[at],
            v=rest[at],
            update_s=bus.update_s,
            resolution=bus.resolution,
        )
    return {n: known[n] for n in names}


def pack_outs(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[PackOut, ...]:
    """Stretches in which a shared pack gave nothing although it usually does at such a load.

    A pack whose voltage is a little lower gives nothing at light load by the nature of diodes, so
    it is compared with itself at a like load, and under way its voltage is asked whether another
    one holds it off: then it is not out. A standby pack is out only where its own voltage is gone.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
    phases : sequence of Phase
        Of the same stretch.

    Returns
    -------
    tuple of PackOut
        In the order of time. A deliberate redundancy check, recognised as such, is among them.
    """
    if len(aircraft.packs) < 2:
        return ()
    flows = pack_currents(readings, aircraft) or {}
    grid = np.arange(readings.start_s, readings.end_s, _GRID_S)
    held = [held_at(r.t, r.v, grid, HELD_S) for r in flows.values()]
    flow = np.array(held).reshape(len(held), grid.size)
    total = flow.sum(axis=0) if flows else np.full(grid.size, np.nan)
    taken = _taken(readings, aircraft, flows, grid)
    step = max((r.resolution or 0.01 for r in flows.values()), default=math.nan)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(total > 4 * step, flow / total, np.nan)
    shares = dict(zip(flows, share, strict=True))
    update_s = {name: r.update_s or readings.row_s for name, r in flows.items()}
    silent = silent_stretches(readings, aircraft, grid, shares, update_s)
    checks = [
        (p.start_s - 1.0, p.end_s + 1.0) for p in phases if p.kind is PhaseKind.REDUNDANCY_CHECK
    ]
    out: list[PackOut] = []
    for a, b, name in silent:
        own = shares.get(name)
        # What a pack gave while another was out says nothing of what it usually gives.
        others = [*checks, *((o.start_s - 1.0, o.end_s + 1.0) for o in out if o.place != name)]
        usual = None
        if own is not None:
            undisturbed = np.where(outside(grid, sorted(others)), own, np.nan)
            usual = usual_share(grid, undisturbed, total, (a, b), step)
        told = None if own is None else (grid, own, total)
        sign = sign_of(readings, aircraft, name, (a, b), told)
        if sign is not OutSign.DEAD and (usual is None or usual <= SOMETHING):
            continue
        inside = (grid >= a) & (grid < b)
        back = came_back(readings, name, shares, grid, b, update_s)
        kind = kind_of_out(phases, a, b, back)
        if kind is OutKind.LOST and (
            sign is OutSign.HELD_OFF or _is_fed(total, taken, own, inside)
        ):
            continue
        out.append(
            PackOut(
                place=name,
                kind=kind,
                start_s=a,
                end_s=b,
                back=back,
                share_before=usual,
                carried_a=highest_known(total[inside]),
                bus_v=lowest_bus_v(readings, aircraft, a, b),
                own_v=median_v(readings, name, a, b),
                sign=sign,
            )
        )
    return tuple(out)


def _taken(
    readings: Readings, aircraft: Aircraft, flows: Mapping[str, Reading], grid: FloatArray
) -> FloatArray | None:
    """Current of all that the packs feed, A; None where it is not measured apart from theirs."""
    whole = total_current(readings, aircraft)
    if whole is None or set(whole.places) & set(flows):
        return None
    return held_at(whole.t, whole.v, grid, HELD_S)


def _is_fed(
    total: FloatArray, taken: FloatArray | None, own: FloatArray | None, inside: NDArray[np.bool_]
) -> bool:
    """Whether the others give more than is taken, so that the rest flows into the silent pack.

    A sensor that reads no current below zero shows nothing of it. Elsewhere in the log the packs'
    currents have to add up, or a sensor is off.
    """
    if taken is None or own is None:
        return False
    with np.errstate(invalid="ignore", divide="ignore"):
        more = np.where(taken > 0, total / taken - 1.0, np.nan)
    fed, usual = more[inside & np.isfinite(more)], more[(own > SOMETHING) & np.isfinite(more)]
    if not fed.size or not usual.size:
        return False
    return bool(np.median(fed) > _FED and abs(np.median(usual)) < _ADDS_UP)


def highest_known(amps: FloatArray) -> float | None:
    """The highest of the finite values; None where there is none."""
    known = amps[np.isfinite(amps)]
    return float(known.max()) if known.size else None


def silent_stretches(
    readings: Readings,
    aircraft: Aircraft,
    grid: FloatArray,
    shares: dict[str, FloatArray],
    update_s: dict[str, float],
) -> list[tuple[float, float, str]]:
    """Stretches without current, of packs that share, and those without a voltage of their own."""
    found: list[tuple[float, float, str]] = []
    for pack in aircraft.packs:
        own, spans = shares.get(pack.name), []
        least = max(_LEAST_OUT_S, 2 * update_s.get(pack.name, 0.0))
        if own is not None and pack.role != "standby":
            # Into a pack that another one charges flows a current: that is not nothing.
            nothing = np.abs(own) < _NOTHING
            spans = joined_spans(grid, own, nothing, max(1.0, 2 * update_s[pack.name]))
        for a, b in dead_spans(readings, aircraft, pack.name, grid):
            gave = None if own is None else own[(grid >= a) & (grid < b)]
            # A voltage of zero beside a current is a sensor that failed.
            if gave is not None and np.isfinite(gave).any() and np.nanmedian(gave) > _NOTHING:
                continue
            if not any(x < b and a < y for x, y in spans):
                spans.append((a, b))
        found += [(a, b, pack.name) for a, b in spans if b - a >= least]
    return sorted(found)


def came_back(
    readings: Readings,
    name: str,
    shares: dict[str, FloatArray],
    grid: FloatArray,
    end_s: float,
    update_s: dict[str, float],
) -> bool:
    """Whether a pack gave again after a stretch, or without a current had its voltage again."""
    if end_s >= readings.end_s - 2 * _GRID_S:
        return False
    if name in shares:
        return bool(np.median(shares_after(grid, shares[name], end_s, update_s[name])) > SOMETHING)
    after = _values(readings.get(Quantity.VOLTAGE, name), end_s, end_s + HELD_S)
    return bool(after.size) and float(np.median(after)) > NO_SUPPLY_V


def joined_spans(
    grid: FloatArray, share: FloatArray, nothing: np.ndarray, pause_s: float
) -> list[tuple[float, float]]:
    """Spans without current; two of them are one where it gave next to nothing between them."""
    out: list[tuple[float, float]] = []
    for a, b in merge(mask_to_spans(grid, nothing, hold_s=2 * _GRID_S), pause_s):
        if out:
            between = share[(grid >= out[-1][1]) & (grid < a)]
            between = between[np.isfinite(between)]
            if between.size == 0 or float(np.median(between)) < SOMETHING:
                out[-1] = (out[-1][0], b)
                continue
        out.append((a, b))
    return out


def usual_share(
    grid: FloatArray, share: FloatArray, total: FloatArray, span: tuple[float, float], step: float
) -> float | None:
    """The pack's median share just before the span, at loads no higher than those within it.

    Behind diodes the pack with the lower voltage gives nothing until the load has pulled the other
    down to it, so its share grows with the load, and the two voltages drift apart and together
    within minutes. A pack that gave its part a moment ago at a lower load, and gives nothing at a
    higher one, is not held off: it is out. None where there was no such load.
    """
    drawn = total[np.isfinite(total) & (grid >= span[0]) & (grid < span[1])]
    if not drawn.size:
        return None
    reach = float(np.quantile(drawn, 0.75)) + 2 * step
    with np.errstate(invalid="ignore"):
        like = np.isfinite(share) & (total <= reach)
    near = np.flatnonzero(like & (grid < span[0] - 1.0) & (grid >= span[0] - NEAR_S))
    part = share[near[-round(JUST_S / _GRID_S) :]]
    return float(np.median(part)) if part.size * _GRID_S >= 2.0 else None


def shares_after(grid: FloatArray, share: FloatArray, end: float, update_s: float) -> FloatArray:
    """Known shares in the seconds after an instant, s; a single 0 where there is none."""
    part = share[(grid >= end) & (grid < end + max(5.0, 3 * update_s))]
    part = part[np.isfinite(part)]
    return part if part.size else np.zeros(1)


def kind_of_out(phases: Sequence[Phase], start: float, end: float, back: bool) -> OutKind:
    """What it was that a pack gave nothing from ``start`` to ``end``, s."""
    flights = [p for p in phases if p.kind is PhaseKind.FLIGHT]
    if any(p.start_s < end and start < p.end_s for p in flights):
        return OutKind.LOST
    if any(
        p.kind is PhaseKind.REDUNDANCY_CHECK and p.start_s < end and start < p.end_s for p in phases
    ):
        return OutKind.CHECK
    before = all(end <= p.start_s for p in flights)
    if before and back and end - start <= _LONGEST_CHECK_S:
        return OutKind.CHECK
    if not before and not back:
        return OutKind.SWITCHED_OFF
    return OutKind.LOST


def lowest_bus_v(readings: Readings, aircraft: Aircraft, start: float, end: float) -> float | None:
    """Lowest voltage of the bus within a span, s, else of another place that is no pack, V."""
    packs = {p.name for p in aircraft.packs}
    volts = [r for r in readings.of(Quantity.VOLTAGE) if r.place not in packs]
    volts.sort(key=lambda r: r.place != aircraft.bus)
    part = _values(volts[0] if volts else None, start, end)
    return float(part.min()) if part.size else None


def median_v(readings: Readings, place: str, start: float, end: float) -> float | None:
    """Median voltage of a place within a span, s; V."""
    part = _values(readings.get(Quantity.VOLTAGE, place), start, end)
    return float(np.median(part)) if part.size else None


def _values(r: Reading | None, start: float, end: float) -> FloatArray:
    return np.zeros(0) if r is None else r.within(start, end).v
