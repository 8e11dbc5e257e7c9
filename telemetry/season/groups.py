"""Which servos of a node: by what each control's travel draws, flight by flight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from telemetry.season.case import Case
from telemetry.season.evidence import Part, weigh

# A group is named where its own rise explains the node's and stands clear of all others.
_CLEAR = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Servos on one control: what they drive, their common name, their own rise."""

    drives: str
    name: str
    rise: float


def rising_group(case: Case, place: str, since: int) -> Group | None:
    """The servos on one control that draw more since a flight; None where no name is sure.

    Servos on the same control move together and cannot be told apart: the group is named.
    """
    rows: dict[str, list[tuple[int, float, float, tuple[str, ...]]]] = {}
    for k, m in enumerate(case.flights):
        for g in m.groups:
            if g.place == place and g.value > 0 and g.high > g.low:
                se = (g.high - g.low) / 3.92
                rows.setdefault(g.drives, []).append((k, g.value, se, g.outputs))
    first = case.first(place)
    learn = np.arange(len(case.flights)) < since
    ranked = []
    for drives, found in rows.items():
        part = Part(
            name=drives,
            at=np.array([r[0] for r in found], dtype=np.int64),
            y=np.log([r[1] for r in found]),
            se=np.array([min(r[2] / r[1], 1.0) for r in found]),
            sigma=0.06,
        ).since(first)
        w = weigh([part], len(case.flights), learn)
        after = w.at >= since
        if np.count_nonzero(~after) < 1 or not after.any():
            continue
        recent = np.flatnonzero(after)[-3:]
        z = float(w.score[recent].sum() / np.sqrt(recent.size))
        ranked.append((z, float(np.expm1(w.rise[recent].mean())), drives, found[-1][3]))
    ranked.sort(reverse=True)
    if len(ranked) < 2 or ranked[0][0] < _CLEAR or ranked[0][0] - ranked[1][0] < _CLEAR:
        return None
    _, rise, drives, outputs = ranked[0]
    outlets = f" (output{'s' if len(outputs) > 1 else ''} {', '.join(outputs)})" if outputs else ""
    return Group(drives=drives, name=f"{drives}{outlets}", rise=rise)
