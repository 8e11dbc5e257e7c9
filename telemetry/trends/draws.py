"""What the servos on each control of a place draw, flight by flight, and which of them changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.numerics.suspects import chances
from telemetry.trends.measures import Measures
from telemetry.trends.parts import EvidencePart, moved_since

FloatArray = NDArray[np.float64]

# Usual scatter of the logarithm from flight to flight, and how many flights that is worth: it is
# only where to begin (heuristic).
_SIGMA, _WEIGHT = 0.12, 3.0
# How much of the change that one group alone would need shows in its draw, the rest being rest
# current and holding; how unsure that is, relative, and at the least (heuristic).
_SHOWN, _UNSURE, _UNSURE_LEAST = 0.7, 0.5, 0.05
# The newest flights, which a change that grows shows in best.
_NEWEST = 4
# No group loses more than this part of its draw: its logarithm is to stay finite.
_GONE = -0.9
# No weight at all would be no logarithm.
_NONE = 1e-12

_Key = tuple[tuple[str, ...], str]
_Draws = dict[int, tuple[float, float]]  # log and its error, by flight


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupMoved:
    """How far the draw of the servos on some controls moved.

    Attributes
    ----------
    controls : tuple of str
    by, error : float
        Natural logarithm of its change, and its standard error.
    alone : float
        How far it would have moved if it alone had made the place's change.
    """

    controls: tuple[str, ...]
    by: float
    error: float
    alone: float


def groups_moved(
    flights: Sequence[Measures],
    place: str,
    mirror: str | None,
    *,
    first: int,
    since: int,
    change: float,
) -> list[GroupMoved]:
    """How far each measured group of a place moved since a flight.

    Each is set against the same controls on the other side, where there is one: what a day does to
    both is then no change of one.

    Parameters
    ----------
    flights : sequence of Measures
    place, mirror : str, str or None
    first, since : int
        First flight of the baseline; first one with the change.
    change : float
        Of the place's current now, relative; below 0 where it fell.
    """
    own = group_draws(flights, place)
    sisters = {} if mirror is None else group_draws(flights, mirror)
    n = len(flights)
    learn = np.arange(n) < since
    usual = {
        key: float(np.exp(np.median([y for k, (y, _) in rows.items() if learn[k]])))
        for key, rows in own.items()
        if any(learn[k] for k in rows)
    }
    out = []
    for key, level in usual.items():
        rows = {k: v for k, v in own[key].items() if learn[k] or k >= n - _NEWEST}
        seen = moved_since(draw_part(rows, sisters.get(key)).since(first), learn)
        if seen is None:
            continue
        total = sum(x for other, x in usual.items() if other[1] == key[1])
        alone = _SHOWN * float(np.log1p(max(change * total / level, _GONE)))
        out.append(GroupMoved(controls=key[0], by=seen[0], error=seen[1], alone=alone))
    return out


def who_changed(
    moved: Sequence[GroupMoved],
    change: float,
    priors: Mapping[str, float],
    *,
    alike: float,
    unnamed: float,
) -> dict[str, float]:
    """Probability of each control that its servos made a place's change.

    Parameters
    ----------
    moved : sequence of GroupMoved
    change : float
        Of the place's current, relative.
    priors : mapping of str to float
        Weight of each control before anything was measured.
    alike, unnamed : float
        Weights of all controls together, and of servos that none of them moves.

    Returns
    -------
    dict of str to float
        They add up to less than 1 where it may be all alike, or servos that nothing names.
    """
    expected = np.zeros((len(priors) + 2, len(moved)))
    for k, m in enumerate(moved):
        expected[:-2, k] = [m.alone if n in m.controls else 0.0 for n in priors]
        expected[-2, k] = _SHOWN * float(np.log1p(max(change, _GONE)))
    unsure = np.where(expected == 0.0, 0.0, np.maximum(_UNSURE * np.abs(expected), _UNSURE_LEAST))
    found = chances(
        np.array([m.by for m in moved]),
        np.array([m.error for m in moved]),
        expected,
        unsure,
        np.array([*priors.values(), max(alike, _NONE), max(unnamed, _NONE)]),
    )
    return dict(zip(priors, found.tolist(), strict=False))


def group_draws(flights: Sequence[Measures], place: str) -> dict[_Key, _Draws]:
    """Logarithm and relative error of each group's draw by flight, each basis apart."""
    out: dict[_Key, _Draws] = {}
    for k, m in enumerate(flights):
        for g in m.groups:
            # One that may be nothing tells nothing.
            if g.place == place and 0.0 < g.low < g.high:
                error = min((g.high - g.low) / 3.92 / g.value, 1.0)
                out.setdefault((g.controls, g.basis), {})[k] = (float(np.log(g.value)), error)
    return out


def draw_part(own: _Draws, sister: _Draws | None) -> EvidencePart:
    """A group's draw as evidence, against that of the same group elsewhere where both are known."""
    both = {k: (*v, *sister[k]) for k, v in own.items() if k in sister} if sister else {}
    if 2 * len(both) >= len(own):
        rows = [(k, y - s, float(np.hypot(e, f))) for k, (y, e, s, f) in both.items()]
    else:
        rows = [(k, y, e) for k, (y, e) in own.items()]
    at, y, se = np.array(rows).T
    # Most of an error is common to all flights with the same telemetry; the scatter is learnt.
    return EvidencePart(
        name="draw", at=at.astype(np.int64), y=y, se=0.5 * se, sigma=_SIGMA, weight=_WEIGHT
    )
