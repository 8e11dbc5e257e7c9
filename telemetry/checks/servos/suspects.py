"""Which servos of a place: by what each control draws, flight by flight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.servos.naming import Suspect, by_control, outputs_of, ranked, weight
from telemetry.numerics.suspects import chances
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
# No group loses more than this part of its draw: a logarithm.
_GONE = -0.9
# Weight of all servos of a place together, as a sensor or the supply would have it, beside them one
# by one; of those on controls that are not logged, where no profile tells them (heuristic).
_ALIKE, _UNLOGGED = 0.1, 0.3

_Key = tuple[tuple[str, ...], bool]
_Draws = dict[int, tuple[float, float]]  # log and its error, by flight


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moved:
    """How far the draw of a group moved, as a logarithm, and what each hypothesis says of it."""

    controls: tuple[str, ...]
    by: float
    error: float
    alone: float


def suspects(
    history: AircraftHistory, place: str, since: int, change: float
) -> tuple[Suspect, ...]:
    """The servos of a place on each control, by how likely it is they that changed.

    Each group's draw is set against that of the same controls on the other side, where there is
    one: what a day does to both is then no change of one. A group that changed alone moved as far
    as the place's change asks, and no other did.

    Parameters
    ----------
    history : AircraftHistory
    place : str
    since : int
        First flight of the change.
    change : float
        Of the place's current now, relative; below 0 where it fell.

    Returns
    -------
    tuple of Suspect
        The likeliest first. Empty where neither the profile nor control columns name a control.
        They add up to less than 1 where servos that nothing names may be the ones, or all alike.
    """
    moved = _moved(history, place, since, change)
    rises = {m.controls[0]: float(np.expm1(m.by)) for m in moved if len(m.controls) == 1}
    measured = {c for g in history.flights[-1].groups if g.place == place for c in g.controls}
    measured |= {c for m in moved for c in m.controls}
    servos = history.aircraft.on(history.day(len(history.listed) - 1)).servos_at(place)
    groups = by_control(servos, measured)
    priors = {c: weight(c, sum(s.count for s in mine)) for c, mine in groups.items()}
    unnamed = float(max(history.servos(place)[0] - sum(s.count for s in servos), 0))
    if not servos:
        priors = {c: weight(c, 1) for c in sorted(measured)}
        unnamed = _UNLOGGED
    if not priors:
        return ()
    names = list(priors)
    alike = _ALIKE * sum(priors.values()) if len(names) > 1 and moved else 0.0
    together = _SHOWN * float(np.log1p(max(change, _GONE)))
    expected = np.zeros((len(names) + 2, len(moved)))
    for k, m in enumerate(moved):
        expected[:-2, k] = [m.alone if n in m.controls else 0.0 for n in names]
        expected[-2, k] = together
    unsure = np.where(expected == 0.0, 0.0, np.maximum(_UNSURE * np.abs(expected), _UNSURE_LEAST))
    found = chances(
        np.array([m.by for m in moved]),
        np.array([m.error for m in moved]),
        expected,
        unsure,
        np.array([*priors.values(), max(alike, 1e-12), max(unnamed, 1e-12)]),
    )
    out = [
        Suspect(
            control=n,
            outputs=outputs_of(groups.get(n, ())),
            chance=float(p),
            rise=rises.get(n),
        )
        for n, p in zip(names, found, strict=False)
    ]
    return ranked(out)


def _moved(history: AircraftHistory, place: str, since: int, change: float) -> list[_Moved]:
    """How far each measured group moved since a flight, and how far it alone would have to."""
    own = _draws(history, place)
    mirror = history.aircraft.mirror(place, history.table.current_places)
    sisters = {} if mirror is None else _draws(history, mirror)
    n = len(history.flights)
    learn = np.arange(n) < since
    usual = {
        key: float(np.exp(np.median([y for k, (y, _) in rows.items() if learn[k]])))
        for key, rows in own.items()
        if any(learn[k] for k in rows)
    }
    out = []
    for key, level in usual.items():
        rows = {k: v for k, v in own[key].items() if learn[k] or k >= n - _NEWEST}
        part = _part(rows, sisters.get(key)).since(history.first(place))
        seen = moved_since(part, learn)
        if seen is None:
            continue
        total = sum(x for other, x in usual.items() if other[1] == key[1])
        alone = _SHOWN * float(np.log1p(max(change * total / level, _GONE)))
        out.append(_Moved(controls=key[0], by=seen[0], error=seen[1], alone=alone))
    return out


def _draws(history: AircraftHistory, place: str) -> dict[_Key, _Draws]:
    out: dict[_Key, _Draws] = {}
    for k, m in enumerate(history.flights):
        for g in m.groups:
            if g.place == place and g.value > 0 and g.high > g.low:
                error = min((g.high - g.low) / 3.92 / g.value, 1.0)
                out.setdefault((g.controls, g.checked), {})[k] = (float(np.log(g.value)), error)
    return out


def _part(own: _Draws, sister: _Draws | None) -> EvidencePart:
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
