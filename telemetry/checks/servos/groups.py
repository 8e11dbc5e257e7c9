"""Which servos of a node: by what each control's travel draws, flight by flight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.trends.parts import EvidencePart, log_odds, moved_since

# A group is named where the odds (log) for it are at least so much: 20 to 1, against every other
# group of the place, against all of them together and against none.
_CLEAR = 3.0
# Usual scatter of the logarithm from flight to flight, and how many flights that is worth: it is
# only where to begin (heuristic).
_SIGMA, _WEIGHT = 0.12, 3.0
# Where a control's draw is known worse than this, relative, it can't be ruled out (heuristic).
_KNOWN = 0.15
# How much of the rise that one group alone would need shows in its travel: the rest is rest
# current and holding (heuristic).
_SHOWN = 0.7

_Draws = dict[str, dict[int, tuple[float, float]]]  # log and its error, by control and flight


@dataclass(frozen=True, slots=True, kw_only=True)
class ServoGroup:
    """Servos on one control: what they drive, their common name, their own rise if measured."""

    drives: str
    name: str
    rise: float | None


def rising_group(
    history: AircraftHistory, place: str, since: int, node_rise: float
) -> ServoGroup | None:
    """The servos on one control that draw more since a flight; None where no name is sure.

    Servos on the same control move together and cannot be told apart: the group is named. Each
    group's draw per travel is set against that of the same control on the other side, where there
    is one: what a day does to both is then no rise of one. A group is named where its draw rose as
    far as it would if it alone made the place's rise, and no other's did; where the draw of one of
    them is hardly known, none is.

    Parameters
    ----------
    history : AircraftHistory
    place : str
    since : int
        First flight of the rise.
    node_rise : float
        Rise of the place's current, relative.
    """
    only = _only_control(history, place)
    if only is not None:
        return only
    own = _draws(history, place)
    sisters = {}
    mirror = history.aircraft.mirror(place, history.table.current_places)
    if mirror is not None:
        sisters = _draws(history, mirror)
    learn = np.arange(len(history.flights)) < since
    usual = {
        d: float(np.exp(np.median([y for k, (y, _) in rows.items() if learn[k]])))
        for d, rows in own.items()
        if any(learn[k] for k in rows)
    }
    ranked = []
    together = 0.0  # odds that all of them rose alike, as a sensor or the supply would have it
    for drives, level in usual.items():
        part = _part(drives, own[drives], sisters.get(drives)).since(history.first(place))
        seen = moved_since(part, learn)
        if seen is not None:
            alone = _SHOWN * float(np.log1p(node_rise * sum(usual.values()) / level))
            ranked.append((log_odds(*seen, alone, 0.0), float(np.expm1(seen[0])), drives))
            together += log_odds(*seen, _SHOWN * float(np.log1p(node_rise)), 0.0)
    ranked.sort(reverse=True)
    vague = len(own) > 1 and any(
        float(np.median([e for _, e in rows.values()])) > _KNOWN for rows in own.values()
    )
    if not ranked or len(ranked) < len(own) or vague:
        return None
    rivals = [0.0, *(odds for odds, _, _ in ranked[1:])]
    if len(ranked) > 1:
        rivals.append(together)
    odds, rise, drives = ranked[0]
    if odds - max(rivals) < _CLEAR:
        return None
    outputs = next(
        g.outputs
        for m in reversed(history.flights)
        for g in m.groups
        if (g.place, g.drives) == (place, drives)
    )
    return ServoGroup(drives=drives, name=_named(drives, outputs), rise=rise)


def _draws(history: AircraftHistory, place: str) -> _Draws:
    out: _Draws = {}
    for k, m in enumerate(history.flights):
        for g in m.groups:
            if g.place == place and g.value > 0 and g.high > g.low:
                error = min((g.high - g.low) / 3.92 / g.value, 1.0)
                out.setdefault(g.drives, {})[k] = (float(np.log(g.value)), error)
    return out


def _part(
    name: str, own: dict[int, tuple[float, float]], sister: dict[int, tuple[float, float]] | None
) -> EvidencePart:
    both = {k: (*v, *sister[k]) for k, v in own.items() if k in sister} if sister else {}
    if 2 * len(both) >= len(own):
        rows = [(k, y - s, float(np.hypot(e, f))) for k, (y, e, s, f) in both.items()]
    else:
        rows = [(k, y, e) for k, (y, e) in own.items()]
    at, y, se = np.array(rows).T
    # Most of an error is common to all flights with the same telemetry; the scatter is learnt.
    return EvidencePart(
        name=name, at=at.astype(np.int64), y=y, se=0.5 * se, sigma=_SIGMA, weight=_WEIGHT
    )


def _only_control(history: AircraftHistory, place: str) -> ServoGroup | None:
    """The one control that all servos of a place follow by the profile."""
    servos = history.aircraft.on(history.day(len(history.listed) - 1)).servos_at(place)
    kinds = {s.surface or s.drives for s in servos}
    listed = sum(s.count for s in servos)
    if len(kinds) != 1 or listed < history.servos(place)[0]:
        return None
    drives = kinds.pop()
    return ServoGroup(
        drives=drives, name=_named(drives, tuple(str(s.output) for s in servos)), rise=None
    )


def _named(drives: str, outputs: tuple[str, ...]) -> str:
    outlets = f" (output{'s' if len(outputs) > 1 else ''} {', '.join(outputs)})" if outputs else ""
    return f"{drives}{outlets}"
