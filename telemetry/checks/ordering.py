"""Which flight of one recording a rule tells first: the one it found the worst in."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from telemetry.results import Finding

# What tells how bad a finding is beside another of its code, and whether lower is worse.
_LOWER, _HIGHER = 1.0, -1.0
_MEASURE = {
    "brownout": ("lowest_v", _LOWER),
    "margin-low": ("margin_v", _LOWER),
    "undervoltage": ("lowest_v", _LOWER),
    "sag-unexplained": ("deepest_v", _HIGHER),
    "regulator-droop": ("deepest_v", _HIGHER),
    "switch-step": ("deepest_v", _HIGHER),
    "branch-resistance-high": ("mohm", _HIGHER),
    "source-resistance-high": ("mohm", _HIGHER),
    "pack-out": ("out_s", _HIGHER),
    "pack-low": ("landing_pct", _LOWER),
}


def worst_first(by_flight: Iterable[Sequence[Finding]]) -> list[Finding]:
    """What one rule found in each flight: the worst flight first, equal ones in order of time.

    Within a flight the rule's own order stays. A code without a measure of its own keeps the order
    of time within its level.
    """
    found = [flight for flight in by_flight if flight]
    return [f for flight in sorted(found, key=lambda x: min(map(_badness, x))) for f in flight]


def _badness(finding: Finding) -> tuple[int, float]:
    """Lower is worse: by level, then by the measure of the code."""
    name, sign = _MEASURE.get(finding.code, ("", _LOWER))
    value = finding.evidence.get(name)
    known = isinstance(value, int | float) and math.isfinite(value)
    return -finding.level.rank, sign * float(value) if known and value is not None else math.inf
