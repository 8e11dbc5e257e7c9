"""What other aircraft tell of the scatter from flight to flight, before a new one has its own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from telemetry.numerics.statistics.moderated import scatter_prior
from telemetry.results import FeatureScatter, Fleet
from telemetry.trends.parts import CLIP, EvidencePart

#: Other aircraft that it takes: with what is thought usual there are three values then, and one odd
#: aircraft does not move the middle one.
LEAST_AIRCRAFT = 2
# Degrees of freedom that tell an aircraft's own scatter (heuristic).
_LEAST_DEGREES = 5
#: Flights that it takes of each.
LEAST_FLIGHTS = _LEAST_DEGREES + 1


class OwnScatter(NamedTuple):
    """Scatter of one feature of one place of an aircraft.

    ``usual`` and ``usual_flights`` are what is thought of it beforehand: of two features with one
    name they tell which it is. ``ratio`` is the measured variance over the usual one.
    """

    feature: str
    usual: float
    usual_flights: float
    ratio: float
    degrees: float


def own_scatter(part: EvidencePart, change: int | None = None) -> OwnScatter | None:
    """Scatter of a part as a chart learns it; with a change at that flight, of the longer side.

    None where too few flights tell it, or it is held for known.
    """
    sides = [part] if change is None else [part.until(change), part.since(change)]
    part = max(sides, key=lambda side: side.at.size)
    degrees = part.at.size - 1
    if part.known or degrees < _LEAST_DEGREES:
        return None
    found = part.scores(np.ones(int(part.at[-1]) + 1, dtype=bool))
    off = np.clip((part.y - found.predicted) / found.scale, -CLIP, CLIP)[1:]
    # Each flight adds its part to the sum of squares, which begins as ``weight`` usual ones.
    grown = float(np.prod(1.0 + off**2 / found.degrees[1:]))
    ratio = part.weight * (grown - 1.0) / degrees
    return OwnScatter(part.name, part.sigma, part.weight, ratio, float(degrees))


def fleet_of(scatters: Mapping[str, Sequence[OwnScatter]], flights: int) -> Fleet | None:
    """What aircraft, by name, tell of the scatter of another one; None where they are too few.

    ``flights`` is how many of theirs it was learnt from.
    """
    kinds = dict.fromkeys(own[:3] for every in scatters.values() for own in every)
    told = []
    for kind in kinds:
        groups = [
            (np.array([o.ratio for o in own]), np.array([o.degrees for o in own]))
            for every in scatters.values()
            if (own := [o for o in every if o[:3] == kind])
        ]
        if len(groups) < LEAST_AIRCRAFT:
            continue
        feature, usual, usual_flights = kind
        prior = scatter_prior(groups, usual_flights)
        told.append(
            FeatureScatter(
                feature=feature,
                usual=usual,
                usual_flights=usual_flights,
                scatter=usual * float(np.sqrt(prior.ratio)),
                flights=prior.degrees,
                aircraft=len(groups),
            )
        )
    if not told:
        return None
    return Fleet(aircraft=tuple(scatters), flights=flights, features=tuple(told))


def with_fleet(parts: Iterable[EvidencePart], fleet: Fleet | None) -> list[EvidencePart]:
    """Parts with what the fleet tells of their scatter, for what was thought usual."""
    if fleet is None:
        return list(parts)
    known = {(f.feature, f.usual, f.usual_flights): f for f in fleet.features}
    return [_told(p, known.get((p.name, p.sigma, p.weight))) for p in parts]


def _told(part: EvidencePart, found: FeatureScatter | None) -> EvidencePart:
    """The scatter as the fleet has it; how the values' own errors compare with it stays."""
    if found is None or part.known:
        return part
    se = part.se * (found.scatter / found.usual)
    return replace(part, sigma=found.scatter, weight=found.flights, se=se)
