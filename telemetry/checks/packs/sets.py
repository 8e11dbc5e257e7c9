"""Sets of packs that take turns: which set flew, and each judged with its own past."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.draft import FindingDraft, Words
from telemetry.model.log import FloatArray
from telemetry.results import Level
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import EvidencePart, part_of
from telemetry.trends.turns import (
    PackSets,
    against_others,
    as_steady_as,
    no_sets,
    proposed_sets,
    stated_sets,
    with_sets,
)
from telemetry.trends.warmth import (
    ACTIVATION_KJ,
    ACTIVATION_SD_KJ,
    DAY_SD,
    YEAR_SD,
    by_day,
    coldness,
    time_of_year,
)

#: Scatter to begin with, from flight to flight: logarithm of a pack's resistance against the other
#: pack's, and against its own past.
AGAINST_SIGMA, ALONE_SIGMA = 0.08, 0.10
# So many of the newest flights propose sets; flights whose numbers a title names (heuristic).
_NEWEST, _NAMED = 40, 4
# A set's own rise is at least this part of that against the others, or the others have fallen.
_OWN = 0.5
# A set of so many times the others' resistance, over so many flights, standard errors from no more
# than what sets of one make differ by, is told without any change (heuristic).
_TIMES, _ALIKE, _FLIGHTS, _ERRORS = 1.5, 1.2, 3, 5.0
# Temperature within a day where it is logged: what it leaves, logarithm of a resistance.
_LEFT_SD = 0.03


WEAK_SET = Words(
    (
        "{place} of this set has aged",
        "this set is of another make or size than the others",
    ),
    "Measure the resistance of this set and of another one, both warm and at a known charge.",
    "Leave this set out until it is measured; if it is so by design, say so in a note of kind "
    "checked.",
    kinds=(CauseKind.AGED, CauseKind.UNLIKE_PACKS),
)


class OfSet(NamedTuple):
    """A set that changed against the others, and by how much."""

    one: int
    judgement: Judgement


def sets_of(history: AircraftHistory, packs: list[str], shared: list[str]) -> PackSets:
    """Which set of packs each flight was flown with: by its label, else by the data."""
    flights = len(history.flights)
    labels = [label_of(history, k) for k in range(flights)]
    stated = stated_sets(labels)
    if stated is not None or any(labels):
        return stated or no_sets(flights)
    first = history.first(*packs)
    parts = []
    if len(shared) == 2:
        parts.append((against_part(history, shared[0], shared[1]), 0.0))
    parts.append(_with_day(history, alone_part(history, tuple(shared or packs))))
    kept = [
        (p.since(max(first, flights - _NEWEST)), day_sd) for p, day_sd in parts if p is not None
    ]
    flown = [m.kind == "flight" and k >= first for k, m in enumerate(history.flights)]
    days = [history.day(k) for k in range(flights)]
    return proposed_sets(kept, flown, days) or no_sets(flights)


def label_of(history: AircraftHistory, flight: int) -> str | None:
    """The label of the packs of a flight: the pilot's, else the log's, else the profile's."""
    m = history.flights[flight]
    own = history.listed[flight].packs or m.packs
    if own is not None or not m.labels:
        return own
    return ", ".join(f"{m.labels[place]}" for place in sorted(m.labels))


def log_resistance(history: AircraftHistory, place: str) -> tuple[FloatArray, FloatArray]:
    """Logarithm of the source resistance at a place, flight by flight, and its standard error."""
    value, se = history.table.column(place, "source_mohm")
    value = np.where(value > 0, value, np.nan)
    return np.log(value), np.minimum(se / value, 1.0)


def against_part(history: AircraftHistory, pack: str, other: str) -> EvidencePart | None:
    """Resistance of a pack against another's in the same flight: cold works on both."""
    (y, se), (theirs, their_se) = (log_resistance(history, p) for p in (pack, other))
    return part_of("source_mohm", y - theirs, np.hypot(se, their_se), sigma=AGAINST_SIGMA)


def alone_part(history: AircraftHistory, places: tuple[str, ...]) -> EvidencePart | None:
    """Mean resistance of some packs, with nothing to hold it against."""
    found = [log_resistance(history, p) for p in places]
    if not found:
        return None
    y = np.mean([y for y, _ in found], axis=0)
    se = np.sqrt(np.sum([se**2 for _, se in found], axis=0)) / len(found)
    return part_of("source_mohm", y, se, sigma=ALONE_SIGMA)


def is_warmth_logged(history: AircraftHistory, part: EvidencePart) -> bool:
    """Whether nearly all flights of a part have a temperature."""
    known = [history.flights[int(k)].temperature_c is not None for k in part.at]
    return 10 * sum(known) >= 9 * len(known)


def with_warmth(history: AircraftHistory, part: EvidencePart) -> EvidencePart:
    """The part with warmth as a covariate: the temperature, else the time of the year.

    Where a flight lacks the temperature that the others have, its own is as uncertain as a day's.
    """
    if is_warmth_logged(history, part):
        logged = (history.flights[int(k)].temperature_c for k in part.at)
        celsius = np.array([np.nan if c is None else c for c in logged])
        known = np.isfinite(celsius)
        cold = np.where(known, coldness(np.where(known, celsius, 0.0)), 0.0)
        cold[~known] = cold[known].mean()
        return part.explained_by(
            cold[:, None], [ACTIVATION_KJ], [ACTIVATION_SD_KJ], se=np.where(known, 0.0, DAY_SD)
        )
    days = [history.day(int(k)) for k in part.at]
    return part.explained_by(time_of_year(days), [0.0, 0.0], [YEAR_SD, YEAR_SD])


def daily(history: AircraftHistory, part: EvidencePart) -> EvidencePart:
    """Where no temperature is logged, the means of days: all flights of one are as cold.

    Where no day is known either, each flight counts: what it takes then is more than winter makes.
    """
    days = [history.day(int(k)) for k in part.at]
    if is_warmth_logged(history, part) or not any(days):
        return part
    return by_day(part, days)


def _with_day(
    history: AircraftHistory, part: EvidencePart | None
) -> tuple[EvidencePart | None, float]:
    if part is None:
        return None, 0.0
    return with_warmth(history, part), _LEFT_SD if is_warmth_logged(history, part) else DAY_SD


def weak_set(
    history: AircraftHistory,
    part: EvidencePart,
    sets: PackSets,
    first: int,
    place: str,
    *,
    sigma: float | None = None,
    sign: float = 1.0,
    logarithmic: bool = False,
) -> OfSet | None:
    """The set whose flights changed most, for good, against those of the others.

    ``sigma`` is their scatter where that of the part is not free of cold.
    """
    worst: OfSet | None = None
    # Cold is common to flights that lie so near to one another.
    part = replace(part.since(first), sigma=part.sigma if sigma is None else sigma)
    found = {one: against_others(part, sets, one) for one in range(sets.count)}
    every = [p for p in found.values() if p is not None]
    for one, own in found.items():
        if own is None or not sets.in_use(one):
            continue
        against = as_steady_as(own, every)
        j = history.judge([against], first, place, sign=sign, logarithmic=logarithmic)
        if j is None or j.signal is None or not _is_its_own(part, sets, one, j, sign, logarithmic):
            continue
        if worst is None or j.now > worst.judgement.now:
            worst = OfSet(one, j)
    return worst


def _is_its_own(
    part: EvidencePart,
    sets: PackSets,
    one: int,
    j: Judgement,
    sign: float,
    logarithmic: bool,
) -> bool:
    """Whether the set itself moved: it also rises against others that fell."""
    assert j.onset is not None
    own = sets.of[part.at] == one
    since = part.at >= j.at[j.onset]
    if not (own & since).any() or not (own & ~since).any():
        return False
    moved = sign * float(part.y[own & since].mean() - part.y[own & ~since].mean())
    return moved >= _OWN * (float(np.log1p(j.now)) if logarithmic else j.now)


def of_all(part: EvidencePart, sets: PackSets, weak: OfSet | None) -> EvidencePart:
    """The part of all sets but a weak one, with what sets them apart from the first as covariates.

    What has not been flown for long no longer counts.
    """
    own = sets.of[part.at]
    left = [one for one in range(sets.count) if not sets.in_use(one)]
    left += [] if weak is None else [weak.one]
    return with_sets(part.only(~np.isin(own, left)), sets)


def set_name(sets: PackSets, one: int) -> str:
    """How a set is called: by its label, else by the flights that were flown with it."""
    if sets.labels[one]:
        return f"set '{sets.labels[one]}'"
    numbers = [str(k + 1) for k in sets.flights(one)]
    more = "..., " if len(numbers) > _NAMED else ""
    last = numbers[-_NAMED:]
    return f"the set flown on flights {more}{', '.join(last[:-1])} and {last[-1]}"


def set_evidence(sets: PackSets, one: int) -> dict[str, float | int | str | None]:
    """Which set, how many there are, and who says so."""
    return {
        "set": sets.labels[one] or None,
        "set_flights": ", ".join(str(k + 1) for k in sets.flights(one)),
        "sets": sets.count,
        "sets_known": "by their labels" if sets.stated else "by the data",
    }


def judge_apart(
    history: AircraftHistory,
    packs: Sequence[str],
    sets: PackSets,
    first: int,
    found: JudgedAcross,
) -> None:
    """A set that lies above the others from the first flight on: a finding pack-weak, no change."""
    apart: dict[int, dict[str, float]] = {}
    for pack in packs:
        part = alone_part(history, (pack,))
        for one in range(sets.count if part is not None else 0):
            times = None if part is None else times_the_others(part.since(first), sets, one)
            if times is not None and sets.in_use(one):
                apart.setdefault(one, {})[pack] = times
    if not apart:
        return
    one, of = max(apart.items(), key=lambda told: max(told[1].values()))
    evidence = set_evidence(sets, one)
    if any(d.evidence.get("set_flights") == evidence["set_flights"] for d in found.drafts):
        return  # its change is told
    place, *also = of
    times = max(of.values())
    found.drafts.append(
        FindingDraft(
            code="pack-weak",
            level=Level.WATCH,
            place=place,
            also=tuple(also),
            title=f"{' and '.join(of)} of {set_name(sets, one)}: {times:.1f} times the resistance "
            "of the other sets",
            evidence={"times": times, "compared_with": "the other sets", **evidence},
            since_flight=history.listed[int(sets.flights(one)[0])].id,
            words=WEAK_SET,
        )
    )


def times_the_others(part: EvidencePart, sets: PackSets, one: int) -> float | None:
    """How many times the others' resistance a set has; None where they are alike for all it shows.

    ``part`` holds logarithms of resistances; each flight is set against near ones of other sets.
    """
    own = against_others(part, sets, one)
    if own is None or own.at.size < _FLIGHTS:
        return None
    mean, n = float(own.y.mean()), own.at.size
    error = max(float(own.y.std(ddof=1)), own.sigma) / np.sqrt(n)
    if mean < np.log(_TIMES) or mean - np.log(_ALIKE) < _ERRORS * error:
        return None
    return float(np.exp(mean))
