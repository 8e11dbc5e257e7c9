"""A node: what it draws in blocks of time, at rest and in the stirs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import sampling
from telemetry.numerics.spans import common, complement, overlap_s
from telemetry.numerics.statistics.windows import windows
from telemetry.readings import Reading, Readings, still_spans
from telemetry.results import Phase, PhaseKind, UnusualCurrent, UnusualKind

#: Readings of a current that are enough to judge it.
LEAST = 40
#: A sensor's step says nothing: so many of them do.
STEPS = 3.0
#: Rest: so long a level is held, s, and in so many readings; what part of the time, where none is
#: held so long, lies at or below it.
_REST_S, _REST_READINGS, _REST_SHARE = 4.0, 4, 0.25
#: Rest begins and ends so long after and before what is no rest, s.
_MARGIN_S = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeCurrent:
    """A place with a current of its own.

    Attributes
    ----------
    reading : Reading
    mean, low : ndarray
        Mean and lowest current of each block of time, A; NaN where none is known.
    rest, lowest, scatter : mapping
        "before" take-off and "after" landing, where the ground was seen for long enough: current at
        rest, the lowest that was held for seconds, and the usual jump from reading to reading, A.
        A place that strains never falls back; a consumer may be switched on in between.
    stirs : tuple of ndarray
        Readings over the rest in each stir on the ground, A.
    stirred : tuple of (float, float)
        When each of them began and ended, s.
    """

    reading: Reading
    mean: FloatArray
    low: FloatArray
    rest: Mapping[str, float]
    lowest: Mapping[str, float]
    stirs: tuple[FloatArray, ...]
    stirred: tuple[tuple[float, float], ...]
    scatter: Mapping[str, float]

    @property
    def place(self) -> str:
        """Its name."""
        return self.reading.place

    @property
    def gained(self) -> float | None:
        """By how much more it rests after landing than before take-off, at the least, A."""
        return None if len(self.rest) < 2 else self.lowest["after"] - self.rest["before"]

    @property
    def lost(self) -> float | None:
        """By how much less it rests after landing than before take-off, at the least, A."""
        return None if len(self.rest) < 2 else self.lowest["before"] - self.rest["after"]

    @property
    def step(self) -> float:
        """Step of its sensor, A; 0 where it is not known."""
        return self.reading.resolution or 0.0


def node_readings(readings: Readings, aircraft: Aircraft) -> list[Reading]:
    """The outermost currents below the root: what servos draw."""
    above = {p.name for p in aircraft.packs} | {s.name for s in aircraft.supplies}
    above |= {aircraft.root or "", aircraft.regulator or ""}
    known = [r for r in readings.of(Quantity.CURRENT) if r.size >= LEAST and r.place not in above]
    known = [r for r in known if aircraft.kind(r.place) in (PlaceKind.NODE, PlaceKind.RECEIVER)]
    feeding = {up for r in known for up in aircraft.feeders(r.place)}
    return [r for r in known if r.place not in feeding]


def in_blocks(r: Reading, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and lowest current of each block between these edges [s], A; NaN where none is known."""
    block_s = float(edges[1] - edges[0])
    fine = min(max(r.update_s or block_s, 0.1), block_s)
    per = max(1, round(block_s / fine))
    at = edges[:-1, None] + (np.arange(per) + 0.5)[None, :] * block_s / per
    held = sampling.held_at(r.t, r.v, at.ravel(), max(3.0 * (r.update_s or 0.0), 1.0))
    held = held.reshape(at.shape)
    known = np.isfinite(held).any(axis=1)
    mean = np.full(edges.size - 1, np.nan)
    low = mean.copy()
    mean[known] = np.nanmean(held[known], axis=1)
    low[known] = np.nanmin(held[known], axis=1)
    return mean, low


def node_of(
    r: Reading,
    blocks: tuple[FloatArray, FloatArray],
    phases: Sequence[Phase],
    active: Sequence[tuple[float, float]],
    rests: Mapping[str, Sequence[tuple[float, float]]],
) -> NodeCurrent:
    """The node of a current: its blocks, its rests by name as of ``rests_of``, its stirs."""
    mean, low = blocks
    rest, lowest, scatter = {}, {}, {}
    for name, spans in rests.items():
        parts = [r.within(a, b) for a, b in spans]
        if sum(p.size for p in parts) >= _REST_READINGS and sum(b - a for a, b in spans) >= _REST_S:
            levels, jumps = _held_levels(parts)
            rest[name], lowest[name] = float(np.median(levels)), float(levels.min())
            scatter[name] = float(np.quantile(jumps, _REST_SHARE)) if jumps.size else 0.0
    stirred = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.STIR]
    stirred = [s for s in stirred if not any(overlap_s(s, a) > 0 for a in active)]
    base = rest.get("before", 0.0)
    landed = active[-1][1] if active else np.inf

    def over(start: float, end: float) -> FloatArray:
        own = rest.get("after", base) if start >= landed else base
        return np.clip(r.within(start, end).v - own, 0.0, None)

    return NodeCurrent(
        reading=r,
        mean=mean,
        low=low,
        rest=rest,
        lowest=lowest,
        stirs=tuple(over(a, b) for a, b in stirred),
        stirred=tuple(stirred),
        scatter=scatter,
    )


def rests_of(
    readings: Readings,
    currents: Sequence[Reading],
    phases: Sequence[Phase],
    active: Sequence[tuple[float, float]],
) -> dict[str, list[tuple[float, float]]]:
    """Rest "before" the first flight and "after" the last one, s, without its edges.

    Only where nothing is commanded and nothing moves: who taxies or handles it is at no rest.
    """
    grounds = _grounds(phases, active)
    still = still_spans(readings, currents, [s for spans in grounds.values() for s in spans])
    return {name: common(spans, still) for name, spans in grounds.items()}


def _grounds(
    phases: Sequence[Phase], active: Sequence[tuple[float, float]]
) -> dict[str, list[tuple[float, float]]]:
    """The ground before the first flight and after the last one, without its edges."""
    off = active[0][0] if active else np.inf
    landed = active[-1][1] if active else np.inf
    still = (PhaseKind.GROUND, PhaseKind.FLIGHT)  # a flight that was none is no activity
    out: dict[str, list[tuple[float, float]]] = {}
    for p in (p for p in phases if p.kind in still):
        for start, end in complement(list(active), p.start_s, p.end_s):
            a, b = start + _MARGIN_S, end - _MARGIN_S
            if b > a and end <= off:
                out.setdefault("before", []).append((a, b))
            elif b > a and start >= landed:
                out.setdefault("after", []).append((a + _MARGIN_S, max(b, a + _MARGIN_S)))
    return out


def _held_levels(parts: Sequence[Reading]) -> tuple[FloatArray, FloatArray]:
    """Levels held for some seconds, A, and the usual jumps from reading to reading there, A."""
    levels, jumps = [np.empty(0)], [np.empty(0)]
    for p in parts:
        starts = np.arange(p.size)
        ends = np.searchsorted(p.t, p.t + _REST_S, side="right")
        ends = np.maximum(ends, starts + _REST_READINGS)
        # The first that reaches the end is the last one.
        whole = (ends <= p.size) & (np.concatenate(([0], ends[:-1])) < p.size)
        for _, values in windows(p.v, starts[whole], ends[whole]):
            levels.append(np.median(values, axis=1))
            jumps.append(np.abs(np.diff(values, axis=1)).mean(axis=1))
    held = np.concatenate(levels)
    if held.size:
        return held, np.concatenate(jumps)
    v = np.concatenate([p.v for p in parts])
    return np.quantile(v, [_REST_SHARE]), np.empty(0)


def found_at(
    kind: UnusualKind, node: NodeCurrent, start_s: float, end_s: float | None, against: str
) -> UnusualCurrent:
    """What is unusual at a node from an instant on, or for a stretch."""
    return UnusualCurrent(
        kind=kind,
        place=node.place,
        start_s=float(start_s),
        end_s=None if end_s is None else float(end_s),
        against=against,
    )
