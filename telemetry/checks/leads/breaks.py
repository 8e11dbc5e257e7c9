"""Contacts that open: units cut off, falls counted, a drop that strays to one side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.checks.aircraft_history import (
    LEAST_FLIGHTS,
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    Looked,
    Unjudged,
    established,
    usual,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import FITFUL, Check, CheckPart, Closing
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.leads.in_stretches import CHANGED_WORDS, NEEDS, changed_leads, sees
from telemetry.checks.supply.falls import SAG_UNEXPLAINED
from telemetry.checks.tree import fed_places
from telemetry.results import Level, NotJudged
from telemetry.trends.counts import Burst, judge_counts
from telemetry.trends.features.flight import UNLOADED
from telemetry.trends.parts import EvidencePart

FloatArray = NDArray[np.float64]

# Falls that no load explains, as far as one flight can tell, if they go on at one place only.
_CONTACT = ("contact", "unknown", UNLOADED, "brownout")
# Where the stray of the drop was measured in most flights it decides, for it has two sides to
# compare; else falls are counted.
_MOST = 0.5
# Logarithm of the ratio of the two tails of the drop, from flight to flight; and by how much the
# upper one must have grown, V and factor (heuristic: half as much again, and more than a step
# of most sensors).
_TAIL_SIGMA, _TAIL_WATCH_V, _TAIL_WATCH = 0.15, 0.06, 1.5
# A unit's silence: how many times the longest of so many flights before it must be, and its chance
# by its own flight (heuristic).
_OUTSTANDING, _FEW_BEFORE, _CHANCE = 2.0, 3, 1e-4


def cut_off(history: AircraftHistory, code: str, place: str, found: JudgedAcross) -> bool:
    """A unit that went down in flight, for which no statistics are needed; True where it did."""
    first, n = history.first(place), len(history.flights)
    flights = [
        k
        for k in range(first, n)
        if ("brownout", place, Level.GROUND) in {s[:3] for s in history.flights[k].reported}
    ]
    if not flights:
        return False
    if flights[-1] != n - 1:
        return True  # how long that stays open is no matter of counts
    often = "1 flight" if len(flights) == 1 else f"{len(flights)} flights"
    found.drafts.append(
        FindingDraft(
            code=code,
            level=Level.GROUND,
            place=place,
            title=f"{place} lost its supply in {often}",
            evidence={"flights_with": len(flights), "flights_since": n - flights[0]},
            since_flight=history.listed[flights[0]].id,
        )
    )
    return True


def judge_pauses(
    history: AircraftHistory, place: str, places: Sequence[str]
) -> FindingDraft | None:
    """A unit that went off and fell silent in the air as it never did before, alone.

    For silences with an exponential tail, n of them a flight, the chance that the longest of one
    flight is twice the longest of m earlier ones is about 1 / (m^2 n).
    """
    n = len(history.flights)
    stood_out = {p: outstanding(history, p) for p in places}
    flights = [
        k for k in stood_out[place] if not any(k in stood_out[p] for p in places if p != place)
    ]
    if n - 1 not in flights:
        return None  # how long that stays open is no matter of silences
    silence_s = history.table.column(place, "silence_s")[0]
    longest_s = float(silence_s[flights].max())
    often = "1 flight" if len(flights) == 1 else f"{len(flights)} flights"
    return FindingDraft(
        code="contact-intermittent",
        level=Level.WATCH,
        place=place,
        title=f"{place}: its unit was off for up to {longest_s:.1f} s in {often} while the "
        "others went on",
        evidence={
            "flights_with": len(flights),
            "silence_s": longest_s,
            "usual_silence_s": float(np.nanmedian(silence_s[: flights[0]])),
            "flights_since": n - flights[0],
        },
        since_flight=history.listed[flights[0]].id,
    )


def outstanding(history: AircraftHistory, place: str) -> list[int]:
    """Flights in which a unit's longest silence was no chance, by itself and by all before.

    One that nothing electrical goes with is telemetry.
    """
    silence_s, p, off = (history.table.column(place, f"silence_{f}")[0] for f in ("s", "p", "off"))
    first = history.first(place)
    out: list[int] = []
    for k in np.flatnonzero((p < _CHANCE) & (off > 0)).tolist():
        if k < first:
            continue
        before = np.delete(silence_s[first:k], [i - first for i in out])
        before = before[np.isfinite(before)]
        if before.size < _FEW_BEFORE:
            continue
        if silence_s[k] > max(history.limits.gap_s, _OUTSTANDING * float(before.max())):
            out.append(k)
    return out


def judge_contacts(history: AircraftHistory) -> JudgedAcross:
    """Contacts that open for moments at one place, flight after flight."""
    return contacts_at(history, [place for place, _ in fed_places(history)])


def contacts_at(history: AircraftHistory, places: Sequence[str]) -> JudgedAcross:
    """The same of these places, each set against the others."""
    found = JudgedAcross()
    for place in places:
        if cut_off(history, "contact-intermittent", place, found):
            continue
        if np.isfinite(history.table.column(place, "drop_tail_v")[0]).mean() >= _MOST:
            finding = judge_strays(history, place, places, found)
        else:
            finding = _counted(history, place, places)
            looked_for_falls(history, "contact-intermittent", place, found)
        finding = finding or judge_pauses(history, place, places)
        if finding is not None:
            found.drafts.append(finding)
    return found


def looked_for_falls(history: AircraftHistory, code: str, place: str, found: JudgedAcross) -> None:
    """Note what the falls counted at a place would have told, or that its flights are too few."""
    since = len(history.flights) - history.first(place)
    if since < LEAST_FLIGHTS:
        why = f"falls of {place}: fewer than three flights since its baseline began"
        found.not_judged.append(Unjudged((code,), place, NotJudged.TOO_FEW_FLIGHTS, why))
    else:
        sees = "falls in two of the last flights, or three in one, beyond what is usual there"
        found.looked.append(Looked(code, place, sees))


def _counted(history: AircraftHistory, place: str, places: Sequence[str]) -> FindingDraft | None:
    own = falls_at(history, place, _CONTACT)
    others = [falls_at(history, p, _CONTACT) for p in places if p != place]
    first = history.first(place)
    burst = judge_counts(own, others, first=first, run=history.watch_run)
    if burst is None or not own[-1]:
        return None  # of a flight without any, how long that stays open is no matter of counts
    strict = judge_counts(own, others, first=first, run=history.ground_run)
    return counted_finding(
        history,
        "contact-intermittent",
        place,
        burst,
        grave=strict is not None and burst.flights >= 2,
        title=f"{place} lost voltage for moments that its load does not explain",
        deepest=deepest_at(history, place, _CONTACT),
    )


def judge_strays(
    history: AircraftHistory, place: str, places: Sequence[str], found: JudgedAcross
) -> FindingDraft | None:
    """The drop to a place strays upwards, as contacts do, more than it used to and than elsewhere.

    Slower telemetry makes every drop stray more: what all places do alike is taken off.
    """
    y = one_sided(history, place)
    others = [one_sided(history, p) for p in places if p != place]
    if others:
        stack = np.array(others)
        known = np.isfinite(stack)
        common = np.where(known, stack, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
        y = y - common
    at = np.flatnonzero(np.isfinite(y))
    if at.size == 0:
        return None
    part = EvidencePart(name="tail", at=at, y=y[at], se=np.zeros(at.size), sigma=_TAIL_SIGMA)
    n = len(history.flights)
    j = history.judge([part], history.first(place), place)
    if j is None:
        return None
    found.trends.append(
        JudgedTrend(
            "contact-intermittent",
            place,
            j,
            quantity="stray of the drop upwards over downwards",
            unit="%",
            scale=100.0,
        )
    )
    if j.signal is None or j.onset is None:
        return None
    since = int(j.at[j.onset])
    before_v = usual(history.table, place, "drop_tail_v", j.first, since)
    if before_v is None:
        return None
    elsewhere = [p for p in places if p != place]
    now_v = usual(history.table, place, "drop_tail_v", max(since, n - 3), n)
    like = common_factor(history, elsewhere, j.first, since, n)
    if now_v is None or now_v < max(before_v + _TAIL_WATCH_V, _TAIL_WATCH * like * before_v):
        return None
    return established(
        history,
        "contact-intermittent",
        place,
        j,
        level=Level.GROUND if j.sure and now_v >= history.limits.margin_ground_v else Level.WATCH,
        title=f"{place}: for moments {now_v:.2f} V are lost on the way that its load does not "
        f"explain, {before_v:.2f} V before",
        quantity="voltage lost for moments",
        unit="V",
        rise_unit="%",
        scale=100.0,
        before=before_v,
        now=now_v,
    )


def one_sided(history: AircraftHistory, place: str) -> FloatArray:
    """Logarithm of the stray upwards over that downwards, flight by flight; NaN where unknown."""
    up, down = (history.table.column(place, f)[0] for f in ("drop_tail_v", "drop_tail_other_v"))
    good = (up > 0) & (down > 0)
    return np.where(good, np.log(np.where(good, up, 1.0) / np.where(good, down, 1.0)), np.nan)


def common_factor(
    history: AircraftHistory, others: Sequence[str], first: int, since: int, end: int
) -> float:
    """By how much the drops of other places stray more from ``since`` to ``end`` than before.

    At least 1.
    """
    factors = []
    for p in others:
        before = usual(history.table, p, "drop_tail_v", first, since)
        now = usual(history.table, p, "drop_tail_v", since, end)
        if before and now:
            factors.append(now / before)
    return max(1.0, float(np.median(factors))) if factors else 1.0


def falls_at(history: AircraftHistory, place: str, origins: Sequence[str]) -> list[int]:
    """Falls of these origins at a place, flight by flight."""
    return [
        sum(e.count for e in m.events if e.place == place and e.origin in origins)
        for m in history.flights
    ]


def deepest_at(history: AircraftHistory, place: str, origins: Sequence[str]) -> float | None:
    """The deepest of them, V."""
    depths = [
        e.deepest_v
        for m in history.flights
        for e in m.events
        if e.place == place and e.origin in origins
    ]
    return max(depths, default=None)


def counted_finding(
    history: AircraftHistory,
    code: str,
    place: str,
    burst: Burst,
    *,
    grave: bool,
    title: str,
    deepest: float | None,
) -> FindingDraft:
    """The finding of counted events."""
    level = Level.GROUND if grave else Level.WATCH
    times = "once" if burst.count == 1 else f"{burst.count} times"
    span = "1 flight" if burst.flights == 1 else f"{burst.flights} flights"
    return FindingDraft(
        code=code,
        level=level,
        place=place,
        title=f"{title}: {times} in {span}",
        evidence={
            "times": burst.count,
            "flights_with": burst.flights,
            "usual_per_flight": burst.usual,
            "p_chance": burst.p,
            "deepest_v": deepest,
            "flights_since": len(history.flights) - burst.since,
        },
        since_flight=history.listed[burst.since].id,
    )


CONTACT_INTERMITTENT = Check(
    code="contact-intermittent",
    part=CheckPart.LEADS,
    closing=Closing(flights=FITFUL, across_note_only=True),
    question="Does a contact open for moments, flight after flight?",
    meaning=SAG_UNEXPLAINED.meaning,
    bench=SAG_UNEXPLAINED.bench,
    words=CHANGED_WORDS,
    in_flight=(changed_leads,),
    needs=NEEDS,
    sees=sees,
    words_across=Words(
        (
            "a contact that opens for moments: plug, switch, broken strands",
            "current peaks that fall between two readings of the current sensor",
        ),
        "With the system on and a steady load, move the plug and lead of {place} and "
        "watch the voltage.",
        "Clean or replace the plug and lead of {place} before the next flight, and note it.",
        kinds=(CauseKind.CONTACT, CauseKind.MISSED_PEAK),
    ),
    across=(judge_contacts,),
)
