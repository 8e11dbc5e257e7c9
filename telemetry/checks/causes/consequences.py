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


#: Cause, and what follows from it: there, or also at what it feeds.
FOLLOWS: Mapping[str, Mapping[str, _Reaches]] = {
    "brownout": {"margin-low": _below, "undervoltage": _below, "restart": _below},
    "pack-out": {
        "margin-low": _below,
        "undervoltage": _below,
        "pack-share": _here,
        "pack-low": _here,
        "regulator-droop": _below,
    },
    "pack-low": {
        "undervoltage": _below,
        "margin-low": _below,
        "pack-share": _here,
        "source-resistance-high": _here,
    },
    "undervoltage": {"margin-low": _below, "source-resistance-high": _here},
    "source-resistance-high": {
        "pack-share": _here,
        "undervoltage": _below,
        "margin-low": _below,
    },
    "regulator-droop": {"margin-low": _below, "undervoltage": _below},
    "switch-step": {"pack-share": _here, "margin-low": _below, "undervoltage": _below},
    "sag-unexplained": {
        "branch-resistance-high": _here,
        "margin-low": _below,
        "undervoltage": _below,
    },
    "branch-resistance-high": {
        "lead-undersized": _here,
        "sag-unexplained": _here,
        "margin-low": _below,
        "undervoltage": _below,
    },
}
# Causes of one moment: what follows from them is of that moment.
_OF_A_MOMENT = ("brownout", "sag-unexplained", "regulator-droop")
# What follows whenever it was read.
_AT_ANY_TIME = ("branch-resistance-high", "pack-share", "source-resistance-high")


def with_consequences(findings: Sequence[Finding], aircraft: Aircraft) -> list[Finding]:
    """The findings, those marked that follow from a graver or equal one of the same flight."""
    heads: list[Finding] = []
    out: list[Finding] = []
    for f in sorted(findings, key=lambda f: -f.level.rank):
        head = next((h for h in heads if _follows(f, h, aircraft)), None)
        if head is None:
            heads.append(f)
            out.append(f)
        else:
            out.append(replace(f, follows_code=head.code, follows_place=head.place))
    return out


def _follows(f: Finding, head: Finding, aircraft: Aircraft) -> bool:
    reaches = FOLLOWS.get(head.code, {}).get(f.code)
    if reaches is None or f.level <= Level.UNKNOWN or f.place is None or head.place is None:
        return False
    same_flight = f.flight == head.flight or None in (f.flight, head.flight)
    return same_flight and _in_time(f, head) and reaches(aircraft, head.place, f.place)


def _in_time(f: Finding, head: Finding) -> bool:
    if f.start_s is None or head.start_s is None or f.code in _AT_ANY_TIME:
        return True
    if f.start_s < head.start_s - _WITHIN_S:
        return False
    end_s = head.start_s if head.end_s is None else head.end_s
    return head.code not in _OF_A_MOMENT or f.start_s <= end_s + _WITHIN_S
