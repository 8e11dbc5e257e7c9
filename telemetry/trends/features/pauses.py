"""Moments in which one unit fell silent in the air while the others went on, and went off with it.

A unit whose supply breaks off for an instant starts anew, and says nothing until it has. But a lost
radio link silences it as well, and so does a sensor that skips its turn. So a silence counts only
over rows that bring readings of the others, and tells of a contact only where something electrical
goes with it: the voltage of the place beside it, or the whole current, which then lacks its own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray, Log
from telemetry.numerics.sampling import is_sparse
from telemetry.readings import Readings, total_current
from telemetry.trends.features.windows import Window
from telemetry.trends.measures import Measure

# Quantities that bring news with nearly every update.
_LIVELY = (Quantity.VOLTAGE, Quantity.CURRENT)
_FEW = 100
# Usual steps that say nothing; how far around a silence the share of updates without news is
# taken, s; the least such share, for readings get lost (heuristic).
_JITTER, _AROUND_S, _LOST = 1.5, 20.0, 0.01
# Of what a place draws the whole has to lack this part, by so many standard deviations of means
# over as many readings, of which there have to be so many (heuristic).
_LACKS, _SURE, _LEAST = 0.5, 4.0, 3


def silences(
    log: Log, readings: Readings, aircraft: Aircraft, air: Sequence[Window]
) -> list[Measure]:
    """The longest silence of each node's unit in the air while most others went on, s.

    Measures ``silence_s``; ``silence_p``: the chance of one so long in this flight, if each
    update brought no news as often as those around it; and ``silence_off``: 1 where voltage or
    whole current show the place off, 0 where they do not. None for a node whose readings cannot
    tell.
    """
    places = [r.place for r in readings.of(Quantity.VOLTAGE)]
    news = {p: place_updates(log, readings, p) for p in places}
    news = {p: found for p, found in news.items() if found[0].size >= _FEW and found[1] > 0}
    out = []
    for node in (n.name for n in aircraft.nodes if n.name in news):
        others = [t for place, (t, _) in news.items() if place != node]
        gap = aircraft.limits.gap_intervals
        found = (
            [longest_pause(*news[node], others, window, gap) for window in air] if others else []
        )
        if found and max(found)[0] > 0:
            longest_s, p, a, b = max(found)
            off = b > a and went_off(readings, aircraft, node, a, b)
            out.append(Measure(place=node, feature="silence_s", value=longest_s, unit="s"))
            out.append(Measure(place=node, feature="silence_p", value=p, unit=""))
            out.append(Measure(place=node, feature="silence_off", value=float(off), unit=""))
    return out


def place_updates(log: Log, readings: Readings, place: str) -> tuple[FloatArray, float]:
    """Instants at which a place brought news, and its shortest update interval, s.

    News are readings, or where rows repeat them, new values.
    """
    found = [np.empty(0)]
    updates = []
    for r in readings.channels:
        if r.place == place and r.channel.quantity in _LIVELY and not r.channel.hold and r.size > 1:
            sparse = is_sparse(log.values(r.channel.key))
            found.append(r.t if sparse else r.t[1:][np.diff(r.v) != 0])
            updates.append(r.update_s or 0.0)
    return np.unique(np.concatenate(found)), min(updates, default=0.0)


def longest_pause(
    own: FloatArray, update_s: float, others: Sequence[FloatArray], window: Window, gap: float
) -> tuple[float, float, float, float]:
    """The longest step between two news of a place, counted while most others brought some, s.

    With its chance, its start and its end. At the least what jitter and a row missed make of the
    usual step; start and end are then alike. ``gap`` is how many usual steps of the others make a
    gap that all share.
    """
    t = own[(own >= window[0]) & (own < window[1])]
    if t.size < 2:
        return 0.0, 1.0, window[0], window[0]
    steps = np.diff(t)
    least_s = _JITTER * float(np.median(steps))
    heard = np.unique(np.concatenate(others))
    heard = heard[(heard >= window[0]) & (heard < window[1])]
    usual_s = gap * float(np.median(np.diff(heard))) if heard.size > 1 else 0.0
    best = (least_s, 1.0, window[0], window[0])
    for i in np.flatnonzero(steps > least_s):
        a, b = float(t[i]), float(t[i + 1])
        if 2 * sum(updates_between(other, a, b) >= 2 for other in others) <= len(others):
            continue
        counted_s = heard_through(heard, a, b, usual_s)
        if counted_s > best[0]:
            best = (counted_s, chance_of_pause(t, a, a + counted_s, update_s, window), a, b)
    return best


def heard_through(heard: FloatArray, start: float, end: float, usual_s: float) -> float:
    """How much of a stretch others reported through, s: without the gaps that they share.

    Parameters
    ----------
    heard : ndarray, shape (n,)
        Instants of news of any other place, s.
    start, end : float
    usual_s : float
        A longer step between two of them is a gap of the link.
    """
    steps = np.diff(np.r_[start, heard[(heard > start) & (heard < end)], end])
    return float(steps[steps <= usual_s].sum())


def went_off(readings: Readings, aircraft: Aircraft, place: str, start: float, end: float) -> bool:
    """Whether a place was without supply about a silence of its unit.

    Its last or first reading beside the silence lies below what feeds it as no reading near does,
    or the whole current lacks what it draws.
    """
    return _fell_beside(readings, aircraft, place, start, end) or _lacked(
        readings, aircraft, place, start, end
    )


def _fell_beside(
    readings: Readings, aircraft: Aircraft, place: str, start: float, end: float
) -> bool:
    own = readings.get(Quantity.VOLTAGE, place)
    parent = aircraft.parent(place)
    above = None if parent is None else readings.get(Quantity.VOLTAGE, parent)
    if own is None or own.size < _FEW:
        return False
    near = (own.t > start - _AROUND_S) & (own.t < end + _AROUND_S)
    t, v = own.t[near], own.v[near]
    level = np.interp(t, above.t, above.v) if above is not None and above.size else np.median(v)
    under = level - v
    beside = [under[t <= start][-1:], under[t >= end][:1]]
    rest = under[(t < start) | (t > end)]
    deepest = max((float(x[0]) for x in beside if x.size), default=-np.inf)
    limits = aircraft.limits
    limit = max(limits.sag_pct / 100.0 * float(np.median(v)), limits.sag_v)
    usual = float(np.median(rest))
    # Load makes falls as well: none of the other readings near may be as deep.
    others = np.sort(rest)[: -len(beside)]
    return deepest - usual >= limit and bool(others.size) and deepest > float(others[-1])


def _lacked(readings: Readings, aircraft: Aircraft, place: str, start: float, end: float) -> bool:
    whole = total_current(readings, aircraft)
    own = readings.get(Quantity.CURRENT, place)
    if whole is None or own is None or own.size < _FEW:
        return False
    near = (whole.t > start - _AROUND_S) & (whole.t < end + _AROUND_S)
    t, left = whole.t[near], whole.v[near].copy()
    for node in aircraft.nodes:
        r = readings.get(Quantity.CURRENT, node.name)
        if node.name != place and r is not None and r.size and aircraft.parent(node.name) != place:
            left -= np.interp(t, r.t, r.v)
    inside = (t > start) & (t < end)
    n = int(inside.sum())
    beside = left[~inside]
    if n < _LEAST or beside.size < _SURE * n:
        return False
    drawn = float(own.v[(own.t > start - _AROUND_S) & (own.t < end + _AROUND_S)].mean())
    scatter = float(np.convolve(beside, np.full(n, 1.0 / n), "valid").std(ddof=1))
    lacks = float(beside.mean() - left[inside].mean())
    return lacks >= max(_LACKS * drawn, _SURE * scatter)


def chance_of_pause(t: FloatArray, a: float, b: float, update_s: float, window: Window) -> float:
    """Chance that no update between two instants brought news, anywhere in the flight."""
    start, end = max(window[0], a - _AROUND_S), min(window[1], b + _AROUND_S)
    near = updates_between(t, start, end) - 1
    shares = (
        1.0 - near * update_s / max(end - start - (b - a), update_s),
        1.0 - t.size * update_s / (window[1] - window[0]),
    )
    quiet = float(np.clip(max(shares), _LOST, 1.0))
    missed = np.floor((b - a) / update_s) - 1.0
    return float(min(1.0, quiet**missed * (window[1] - window[0]) / update_s))


def updates_between(t: FloatArray, start: float, end: float) -> int:
    """How many updates lie between two instants, s, both left out."""
    return int(np.searchsorted(t, end, side="left") - np.searchsorted(t, start, side="right"))
