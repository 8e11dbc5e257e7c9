"""Packs that gave nothing in a flight although they used to take part."""

from __future__ import annotations

import numpy as np

from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross, Looked, Unjudged
from telemetry.checks.draft import FindingDraft
from telemetry.checks.tree import shared_packs
from telemetry.results import Level, NotJudged

# A pack whose share is below this gives nothing; above the other it used to take part (heuristic).
_OUT_SHARE, _PART_SHARE = 0.03, 0.15
# A pack that stopped within the flight lacks this much of its usual share, and so many of its
# deviations; flights for a usual share; voltage at rest by which a pack is the emptier (heuristic).
_FALLEN_SHARE, _SCATTERS, _FEW, _LOWER_V = 0.08, 2.5, 2, 0.03
_DEAD = 0.5  # of its usual lowest voltage in flight


def judge_outs(history: AircraftHistory) -> JudgedAcross:
    """Finding pack-out of either of two packs that share the load."""
    found = JudgedAcross()
    shared = shared_packs(history)
    if len(shared) == 2:
        judge_out(history, shared[0], shared[1], found)
        judge_out(history, shared[1], shared[0], found)
    else:
        why = "packs: it takes two that share the load"
        log = "log the current of each pack"
        found.not_judged.append(Unjudged(("pack-out",), None, NotJudged.NO_COUNTERPART, why, log))
    return found


def judge_out(history: AircraftHistory, pack: str, other: str, found: JudgedAcross) -> None:
    """A pack that gave nothing in a flight although it used to take part."""
    first, n = history.first(pack), len(history.flights)
    share = history.table.column(pack, "share")[0]
    if np.isfinite(share[first:]).sum() > _FEW:
        sees = f"less than {100 * _OUT_SHARE:.0f} % of the current through one flight"
        found.looked.append(Looked("pack-out", pack, sees))
    else:
        why = f"{pack}: fewer than three flights tell its share"
        few = Unjudged(("pack-out",), pack, NotJudged.TOO_FEW_FLIGHTS, why)
        found.not_judged.append(few)
    (own_v, _), (other_v, _) = (history.table.column(p, "rest_v") for p in (pack, other))
    # A pack whose own voltage is the lower one gives nothing because the other is fuller.
    weaker = own_v < other_v - _LOWER_V
    lowest = history.table.column(pack, "lowest_flight_v")[0]

    def gone(k: int) -> bool:
        earlier = share[:k][np.isfinite(share[:k])]
        if earlier.size < _FEW or float(np.median(earlier)) < _PART_SHARE:
            return False
        in_review = any(
            (s.code, s.place) == ("pack-out", pack) for s in history.flights[k].reported
        )
        # Packs of unequal charge share as they like: a pack is missed by its own usual scatter.
        least = max(_FALLEN_SHARE, _SCATTERS * float(earlier.std(ddof=1)))
        fallen = share[k] < float(np.median(earlier)) - least
        # Its own voltage decides where it is known: a pack that only rests keeps it.
        usual_v = lowest[:k][np.isfinite(lowest[:k])]
        if usual_v.size and np.isfinite(lowest[k]):
            fallen = bool(lowest[k] < _DEAD * np.median(usual_v))
        return bool((in_review and fallen) or (share[k] < _OUT_SHARE and not weaker[k]))

    if n == first or not gone(n - 1):  # how long an earlier one stays open is no matter of here
        return
    flights = [k for k in range(first, n) if gone(k)]
    k = flights[0]
    often = "1 flight" if len(flights) == 1 else f"{len(flights)} flights"
    found.drafts.append(
        FindingDraft(
            code="pack-out",
            level=Level.GROUND,
            place=pack,
            title=f"{pack} gave no current in {often}",
            evidence={
                "flights_with": len(flights),
                "share": float(share[k]) if np.isfinite(share[k]) else None,
                "usual_share": float(np.nanmedian(share[:k])),
                "flights_since": n - k,
            },
            since_flight=history.listed[k].id,
        )
    )
