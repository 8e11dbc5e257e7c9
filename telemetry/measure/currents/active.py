"""When the aircraft was active, by all its nodes alike: no one node decides it.

The phases of a recording come from the current of the whole. Where half the servos die, that is
halved, and a node that hunts outshouts all others. So each node is taken relative to its own
usual movement, and the middle one tells.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.model.log import FloatArray
from telemetry.numerics.sampling import outside
from telemetry.numerics.spans import complement, longer, mask_to_spans, merge
from telemetry.results import Phase, PhaseKind

BoolArray = NDArray[np.bool_]
Span = tuple[float, float]

#: Activity is averaged over so long, s; pauses shorter than that are flown through; a stretch of
#: it lasts so long at the least (heuristic: stirs are shorter).
_OVER_S, _LEAST_S = 20.0, 60.0
#: Blocks beside a stir that hold some of it.
_EDGE_BLOCKS = 2.5
#: By so much the average spreads a start and an end, s.
_SPREAD_S = 7.0
#: Active is this part of what the liveliest sixth of the recording keeps (heuristic, as it is for
#: phases).
_PART, _LIVELY = 0.3, 0.85
#: Change from block to block that counts as movement at all, A (heuristic).
_FAINT_A = 0.005


def active_spans(
    means: Sequence[FloatArray], edges: FloatArray, phases: Sequence[Phase]
) -> list[Span]:
    """Flights as the phases tell them, carried on while the nodes together stay active, s.

    Parameters
    ----------
    means : sequence of ndarray, shape (n,)
        Mean current of each node in each block, A; NaN where none is known.
    edges : ndarray, shape (n + 1,)
        Of the blocks, s.
    phases : sequence of Phase

    Returns
    -------
    list of (start, end)
        Without a flight among the phases all stretches of at least a minute.
    """
    flights = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.FLIGHT]
    middle = 0.5 * (edges[1:] + edges[:-1])
    block_s = float(edges[1] - edges[0])
    wide = _EDGE_BLOCKS * block_s
    stirs = [(p.start_s - wide, p.end_s + wide) for p in phases if p.kind is PhaseKind.STIR]
    stirred = ~outside(middle, stirs)
    width = min(max(1, round(_OVER_S / block_s)), middle.size)
    each = [a for x in means if (a := _relative(x, stirred, width)) is not None]
    if not each:
        return flights
    # Of two the one may be dead; of more, the one that is or that hunts does not count.
    active = np.median(each, axis=0) > (_PART if len(each) > 2 else 0.5 * _PART)
    spans = merge(mask_to_spans(edges[:-1], active, hold_s=2.0 * block_s), _OVER_S)
    spans = [s for a, b in spans for s in complement(stirs, a + _SPREAD_S, b - _SPREAD_S)]
    spans = longer(spans, _LEAST_S)
    if not flights:
        return spans
    spans = [s for s in spans if any(_touch(s, f) for f in flights)]
    log = float(edges[0]), float(edges[-1])
    return merge(sorted([*(_within(f, spans, log) for f in flights), *spans]), 1e-6)


def _within(flight: Span, spans: Sequence[Span], log: Span) -> Span:
    """A flight without the rests in which the log begins and ends.

    A node that hunts makes all of a log look like flying.
    """
    own = [s for s in spans if s[0] < flight[1] and flight[0] < s[1]]
    if not own:
        return flight
    rests_first = flight[0] <= log[0] + _OVER_S / 2 and own[0][0] - flight[0] > _OVER_S / 2
    rests_last = flight[1] >= log[1] - _OVER_S / 2 and flight[1] - own[-1][1] > _OVER_S / 2
    return own[0][0] if rests_first else flight[0], own[-1][1] if rests_last else flight[1]


def _relative(x: FloatArray, stirred: BoolArray, width: int) -> FloatArray | None:
    """Movement from block to block, averaged and relative to its usual; None where there is none.

    What is raised and stays up moves nothing.
    """
    known = np.isfinite(x)
    if (known & ~stirred).sum() < width:
        return None
    moved = np.abs(np.diff(x, prepend=x[:1]))
    told = np.isfinite(moved) & ~stirred
    kernel = np.ones(width)
    count = np.convolve(np.isfinite(moved).astype(float), kernel, "same")
    slow = np.convolve(np.where(told, moved, 0.0), kernel, "same") / np.maximum(count, 1.0)
    noise, usual = (float(x) for x in np.quantile(slow[known & ~stirred], [0.05, _LIVELY]))
    return None if usual - noise < _FAINT_A else np.clip((slow - noise) / (usual - noise), 0.0, 1.0)


def _touch(a: Span, b: Span) -> bool:
    """Whether two spans overlap, or lie a pause apart."""
    return a[0] < b[1] + _OVER_S and b[0] < a[1] + _OVER_S
