"""How much a pack holds, told by how far its voltage at rest fell for the charge it gave.

The curve of open-circuit voltage against charge differs from cell to cell, and a pack that has just
been loaded rests a little below its curve for minutes. So the answer is an interval over the usual
curves and over what is not known of both readings; in most flights it is wide, and only what all
of it says counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import product

from telemetry.aircraft import Aircraft, Pack
from telemetry.measure.charge_state import charge_curves, guess_pack
from telemetry.results import PackCapacity, PackState

#: A voltage sensor is off by a part of its reading, at both readings alike (heuristic); after a
#: load a cell rests below its curve, V (from memory: 10 to 40 mV after a minute).
_SENSOR, _SETTLES_V = 0.003, (0.0, 0.04)
#: The least part of its charge that a pack gave, %, on any curve: less tells nothing (heuristic).
_LEAST_PCT = 10.0
#: Packs that began so near to one another and fell so far need no curve, parts of their voltage: an
#: iron phosphate cell does not fall so far before it is empty (heuristic).
_ALIKE, _FELL = 0.01, 0.05
#: Falls further apart than this, as a logarithm, lie on no straight line: one was empty
#: (heuristic).
_STRAIGHT = 0.3
#: Gain of a current sensor (common practice, no source: 1 to 2 %).
_GAIN = 0.02


def pack_capacities(states: Sequence[PackState], aircraft: Aircraft) -> tuple[PackCapacity, ...]:
    """What each pack holds at least and at most, and against the other of a pair.

    Parameters
    ----------
    states : sequence of PackState
        Of one flight.
    aircraft : Aircraft

    Returns
    -------
    tuple of PackCapacity
        Packs whose voltage at rest fell too little, whose chemistry has no curve or that were not
        read at rest before and after are left out.
    """
    shared = [s for s in states if s.role == "shared"]
    out = []
    for state in states:
        kinds = _kinds(state, aircraft.pack(state.place))
        own = [mah for _, mah in _held(state, kinds)]
        others = [s for s in shared if s is not state]
        other = others[0] if len(others) == 1 and state.role == "shared" else None
        times = None if other is None else _times(state, other, aircraft)
        if own or times is not None:
            out.append(
                PackCapacity(
                    place=state.place,
                    drawn_mah=state.drawn_mah or 0.0,
                    low_mah=min(own, default=None),
                    high_mah=max(own, default=None),
                    compared_with=None if other is None or times is None else other.place,
                    low_times=None if times is None else times[0],
                    high_times=None if times is None else times[1],
                    one_kind=len(kinds) == 1,
                )
            )
    return tuple(out)


# What is assumed: chemistry and cells, which of its curves, how far the pack has settled, V a cell.
_Assumed = tuple[str, int, int, float]


def _kinds(state: PackState, pack: Pack | None) -> list[tuple[str, int]]:
    """What the pack may be, by the profile and by its voltages at rest."""
    if state.rest_v is None or state.landing_rest_v is None:
        return []
    return [
        (kind, n)
        for kind, n in guess_pack(state.rest_v, state.landing_rest_v).candidates
        if pack is None or (pack.chemistry in (None, kind) and pack.cells in (None, n))
    ]


def _held(
    state: PackState, kinds: Sequence[tuple[str, int]]
) -> Iterator[tuple[tuple[_Assumed, float], float]]:
    """Capacity, mAh, for everything that may be; nothing where one of them cannot tell it."""
    curves = {kind: charge_curves(kind) for kind, _ in kinds}
    if state.drawn_mah is None or not kinds or not all(curves.values()):
        return
    found = []
    for kind, n in kinds:
        for (k, curve), settles, off in product(
            enumerate(curves[kind]), _SETTLES_V, (-_SENSOR, 0.0, _SENSOR)
        ):
            start, end = (
                curve.pct((1 + off) * (v or 0.0) / n + more)
                for v, more in ((state.rest_v, 0.0), (state.landing_rest_v, settles))
            )
            if start - end < _LEAST_PCT:
                return
            for gain in (-_GAIN, _GAIN):
                mah = (1 + gain) * state.drawn_mah / (start - end) * 100.0
                found.append((((kind, n, k, settles), off + gain), mah))
    yield from found


def _times(state: PackState, other: PackState, aircraft: Aircraft) -> tuple[float, float] | None:
    """Its capacity over the other's, lowest and highest: both are of one kind and settle alike."""
    found = _by_falls(state, other)
    if found is not None:
        return found
    # What only one of the two can be, the other is as well.
    each = [_kinds(s, aircraft.pack(s.place)) for s in (state, other)]
    both = [kind for kind in each[0] if kind in each[1]]
    own, theirs = (list(_held(s, both)) for s in (state, other))
    ratios = [a / b for (key, _), a in own for (like, _), b in theirs if key == like and b > 0]
    return (min(ratios), max(ratios)) if ratios else None


def _by_falls(state: PackState, other: PackState) -> tuple[float, float] | None:
    """The same by how far both fell from one voltage, without a curve.

    What one fell further is taken as a straight line, and all of that correction as its error.
    None where they began apart, or fell so little that a flat curve may hide what was drawn.
    """
    ends = (state.rest_v, state.landing_rest_v, other.rest_v, other.landing_rest_v)
    if None in ends or not state.drawn_mah or not other.drawn_mah:
        return None
    start, end, other_start, other_end = (v or 0.0 for v in ends)
    fell, other_fell = start - end, other_start - other_end
    if abs(start - other_start) > _ALIKE * start or min(fell, other_fell) < _FELL * start:
        return None
    further = other_fell / fell
    if abs(math.log(further)) > _STRAIGHT:
        return None
    ratio = state.drawn_mah / other.drawn_mah * further
    sensors = 2.0 * _SENSOR * start / min(fell, other_fell)
    half = math.hypot(math.log(further), sensors, 2.0 * _GAIN)
    return ratio * math.exp(-half), ratio * math.exp(half)
