"""Which servos of a place changed across flights, with their chances."""

from __future__ import annotations

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory
from telemetry.checks.servos.naming import Suspect, by_control, outputs_of, ranked, weight
from telemetry.trends.draws import groups_moved, who_changed

# Weight of all servos of a place together, as a sensor or the supply would have it, beside them one
# by one; of those on controls that are not logged, where no profile tells them (heuristic).
_ALIKE, _UNLOGGED = 0.1, 0.3


def suspects(
    history: AircraftHistory, place: str, since: int, change: float
) -> tuple[Suspect, ...]:
    """The servos of a place on each control, by how likely it is they that changed.

    A group that changed alone moved as far as the place's change asks, and no other did. Before
    anything is measured each servo that the profile lists counts alike.

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
    mirror = history.aircraft.mirror(place, history.table.current_places)
    moved = groups_moved(
        history.flights, place, mirror, first=history.first(place), since=since, change=change
    )
    measured = {c for g in history.flights[-1].groups if g.place == place for c in g.controls}
    measured |= {c for m in moved for c in m.controls}
    servos = history.aircraft.on(history.day(len(history.listed) - 1)).servos_at(place)
    groups = by_control(servos, measured)
    unnamed = float(max(history.servos(place)[0] - sum(s.count for s in servos), 0))
    if servos:
        priors = {c: weight(c, sum(s.count for s in mine)) for c, mine in groups.items()}
    else:
        priors = {c: weight(c, 1) for c in sorted(measured)}
        unnamed = _UNLOGGED
    alike = _ALIKE * sum(priors.values()) if len(priors) > 1 and moved else 0.0
    rises = {m.controls: float(np.expm1(m.by)) for m in moved}
    found = who_changed(moved, change, priors, alike=alike, unnamed=unnamed)
    return ranked(
        [
            Suspect(
                control=c, outputs=outputs_of(groups.get(c, ())), chance=p, rise=rises.get((c,))
            )
            for c, p in found.items()
        ]
    )
