"""What follows from one cause: told beneath its finding, and not by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from telemetry.aircraft import Aircraft
from telemetry.results import Finding, Level

# A consequence begins no earlier than its cause, and ends with it, within this, s (heuristic).
_WITHIN_S = 2.0

# From the place of the cause and that of the consequence to whether one can come of the other.
_Reaches = Callable[[Aircraft, str, str], bool]


def _here(_aircraft: Aircraft, cause: str, place: str) -> bool:
    return place == cause


def _below(aircraft: Aircraft, cause: str, place: str) -> bool:
    return bool(aircraft.feed_path(place, cause))


_LOW = {"margin-low": _below, "undervoltage": _below}
_LOST = {**_LOW, "brownout": _below, "restart": _below}
#: Cause, and what follows from it: there, or also at what it feeds. No code follows from itself.
FOLLOWS: Mapping[str, Mapping[str, _Reaches]] = {
    "brownout": {**_LOW, "restart": _below, "supply-dips": _below},
    "undervoltage": {"margin-low": _below},
    # Packs and their paths.
    "pack-out": {
        **_LOST,
        "pack-share": _here,
        "pack-low": _here,
        "regulator-droop": _below,
        "supply-dips": _below,
    },
    "pack-low": {
        **_LOST,
        "pack-share": _here,
        "pack-weak": _here,
        "source-resistance-high": _here,
        "regulator-droop": _below,
    },
    "source-resistance-high": {**_LOW, "pack-share": _here, "regulator-droop": _below},
    "source-resistance-rising": {
        **_LOW,
        "source-resistance-high": _here,
        "pack-share": _here,
        "pack-weak": _here,
        "supply-dips": _below,
    },
    "switch-step": {**_LOW, "pack-share": _here},
    # The supply.
    "regulator-droop": {**_LOST, "switch-step": _below, "supply-dips": _below},
    "supply-dips": {**_LOW, "restart": _below, "switch-step": _here},
    # Leads and contacts.
    "branch-resistance-rising": {
        **_LOW,
        "contact-intermittent": _here,
        "sag-unexplained": _here,
        "branch-resistance-high": _here,
        "lead-undersized": _here,
    },
    "contact-intermittent": {**_LOST, "sag-unexplained": _here, "branch-resistance-high": _here},
    "sag-unexplained": {**_LOST, "branch-resistance-high": _here},
    "branch-resistance-high": {**_LOW, "lead-undersized": _here},
    # Servos.
    "servo-current-rising": {"servo-not-resting": _here, "servo-heating": _here},
}
# Causes of one moment: what follows from them is of that moment.
_OF_A_MOMENT = ("brownout", "sag-unexplained")
# Causes that hold whenever what follows was read: a resistance, a regulator in its limit.
_AT_ANY_TIME = ("regulator-droop", "branch-resistance-high", "source-resistance-high")
# What follows whenever it was read.
_READ_AT_ANY_TIME = ("branch-resistance-high", "pack-share", "source-resistance-high")


def with_consequences(findings: Sequence[Finding], aircraft: Aircraft) -> list[Finding]:
    """The findings, worst first, those marked that follow from a graver or equal one.

    Of one flight, or of one history. What follows from a consequence follows from its cause, and
    has the causes of that: it stands behind what stands by itself.
    """
    ordered = sorted(findings, key=lambda f: -f.level.rank)
    heads: dict[int, Finding] = {}
    for f in ordered:
        causes = (h for h in ordered if h.level >= f.level and _follows(f, h, aircraft))
        head = next(causes, None)
        if head is not None:
            heads[id(f)] = head
    told = [_beneath(f, _first(f, heads)) for f in ordered]
    return sorted(told, key=lambda f: (-f.level.rank, f.follows_code is not None))


def _first(f: Finding, heads: Mapping[int, Finding]) -> Finding:
    """The cause at the root of a chain of consequences."""
    while id(f) in heads:
        f = heads[id(f)]
    return f


def _beneath(f: Finding, head: Finding) -> Finding:
    if head is f:
        return f
    return replace(
        f,
        follows_code=head.code,
        follows_place=head.place,
        causes=head.causes,
        ranked=head.ranked,
        explanations=head.explanations,
    )


def _follows(f: Finding, head: Finding, aircraft: Aircraft) -> bool:
    reaches = FOLLOWS.get(head.code, {}).get(f.code)
    if reaches is None or f.level <= Level.UNKNOWN or f.place is None or head.place is None:
        return False
    same_flight = f.flight == head.flight or None in (f.flight, head.flight)
    return same_flight and _in_time(f, head) and reaches(aircraft, head.place, f.place)


def _in_time(f: Finding, head: Finding) -> bool:
    if f.start_s is None or head.start_s is None or head.code in _AT_ANY_TIME:
        return True
    if f.code in _READ_AT_ANY_TIME:
        return True
    if f.start_s < head.start_s - _WITHIN_S:
        return False
    end_s = head.start_s if head.end_s is None else head.end_s
    return head.code not in _OF_A_MOMENT or f.start_s <= end_s + _WITHIN_S
