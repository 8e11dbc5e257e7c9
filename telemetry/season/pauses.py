"""Moments in which one unit fell silent in the air while all others went on reporting.

A unit whose supply breaks off for an instant starts anew, and says nothing until it has. A lost
radio link silences several places at once, a quiet moment leaves values unchanged by chance: both
are told apart here. What remains is one unit that stopped: for want of supply, or of its signal.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from telemetry.aircraft import Aircraft, Limits
from telemetry.channels import Quantity
from telemetry.log import FloatArray
from telemetry.readings import Readings
from telemetry.season.measures import Measure
from telemetry.season.windows import Window

# Quantities that bring news with nearly every update.
_LIVELY = (Quantity.VOLTAGE, Quantity.CURRENT)
# Chance of a silence so long in one flight from which it is no chance; how far around it the
# usual share of updates without news is taken, s (ours).
_CHANCE, _AROUND_S = 1e-4, 20.0
_FEW = 100


def pauses(
    readings: Readings, aircraft: Aircraft, air: Sequence[Window], limits: Limits
) -> list[Measure]:
    """How often each node's unit alone was silent in the air, and the longest time of it, s.

    Measures ``pauses`` and ``longest_pause_s``; none for a node whose readings cannot tell.
    """
    news = {r.place: _news(readings, r.place) for r in readings.of(Quantity.VOLTAGE)}
    news = {place: found for place, found in news.items() if found[0].size >= _FEW}
    silent = {place: _silences(*found, air, limits) for place, found in news.items()}
    out = []
    for node in (n.name for n in aircraft.nodes if n.name in news):
        others = [p for p in news if p != node]
        if not others:
            continue
        own = [s for s in silent[node] if not any(_meet(s, silent[p]) for p in others)]
        own = [s for s in own if any(_goes_on(news[p], s) for p in others)]
        out.append(Measure(place=node, feature="pauses", value=float(len(own)), unit=""))
        if own:
            longest_s = max(b - a for a, b in own)
            out.append(Measure(place=node, feature="longest_pause_s", value=longest_s, unit="s"))
    return out


def _news(readings: Readings, place: str) -> tuple[FloatArray, float]:
    """Instants at which a place brought news, and its shortest update interval, s."""
    lively = [
        r
        for r in readings.channels
        if r.place == place and r.channel.quantity in _LIVELY and not r.channel.hold and r.size > 1
    ]
    updates = [r.update_s for r in lively if r.update_s is not None]
    if not updates:
        return np.empty(0), 0.0
    return np.unique(np.concatenate([r.t[1:][np.diff(r.v) != 0] for r in lively])), min(updates)


def _silences(
    news: FloatArray, update_s: float, air: Sequence[Window], limits: Limits
) -> list[Window]:
    """Stretches without news in the air, longer than chance makes them."""
    least_s = max(limits.gap_s, limits.gap_intervals * update_s)
    out = []
    for start, end in air:
        t = news[(news >= start) & (news < end)]
        if t.size < 2:
            continue
        steps = np.diff(t)
        usual = _quiet(t.size, float(end - start), update_s)
        for i in np.flatnonzero(steps > least_s):
            a, b = float(t[i]), float(t[i + 1])
            near = t[(t > a - _AROUND_S) & (t < b + _AROUND_S)]
            around_s = min(end, b + _AROUND_S) - max(start, a - _AROUND_S) - (b - a)
            quiet = max(usual, _quiet(near.size, around_s, update_s))
            missed = np.floor((b - a) / update_s) - 1.0
            if quiet**missed * (end - start) / update_s < _CHANCE:
                out.append((a, b))
    return out


def _quiet(news: int, span_s: float, update_s: float) -> float:
    """Share of updates without news, at least a hundredth: readings get lost."""
    return float(np.clip(1.0 - news * update_s / max(span_s, update_s), 0.01, 1.0))


def _meet(span: Window, others: Sequence[Window]) -> bool:
    return any(a < span[1] and b > span[0] for a, b in others)


def _goes_on(news: tuple[FloatArray, float], span: Window) -> bool:
    t, update_s = news
    inside = np.count_nonzero((t > span[0] + update_s) & (t < span[1] - update_s))
    return bool(inside >= 2)
