"""What other aircraft tell of the scatter from flight to flight, before a new one has its own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from telemetry.numerics.statistics.moderated import scatter_prior
from telemetry.results import FeatureScatter, Fleet
from telemetry.trends.parts import EvidencePart

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
    """Scatter of a part about its level, or about two with a change at that flight.

    None where too few flights tell it, or it is held for known.
    """
    if part.known:
        return None
    levels = 1 if change is None else 2
    covariates = 0 if part.design is None else part.design.shape[1]
    if part.at.size - levels - covariates < _LEAST_DEGREES:
        return None
    found = replace(part, weight=0.0).steady(part.at[0] if change is None else change)
    ratio = (found.sigma / part.sigma) ** 2
    return OwnScatter(part.name, part.sigma, part.weight, ratio, found.weight)


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
