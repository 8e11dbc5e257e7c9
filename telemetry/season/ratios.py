"""Currents of places compared with one another: the pilot's vigour is common to all of them.

The current of a place is set against that of its mirror, or against all other places together;
the logarithm of the ratio then moves by the same amount for the same fault, whatever the day's
stir was like. The rest is not taken off first: its error would come back in every value.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft
from telemetry.channels import mirror_of
from telemetry.season.evidence import Part
from telemetry.season.measures import Blocks, Measures

FloatArray = NDArray[np.float64]

# Usual scatter of the logarithm of a ratio from flight to flight (ours, from simulated seasons of
# random aircraft), beside the uncertainty of each value: against the mirror, against other places,
# against nothing. It is only where to begin: each aircraft's own scatter is learnt.
_SIGMA = {
    "stir": (0.025, 0.04, 0.20),
    "air": (0.015, 0.05, 0.20),
    "rest": (0.02, 0.05, 0.08),
}
# How far each moves when the moving current of the node rises by a given share (ours, from
# simulated servos of three laws): in the air holding against loads dilutes it, at rest only wear
# and stiffness show.
_RESPONSE = {"stir": 1.0, "air": 0.6, "rest": 0.5}
# Other places do not answer to vigour alike: power of one current in the other's, about 1.
_SLOPE_SD = {"stir": 0.3, "air": 0.4, "rest": 0.3}
# Rise of the ratio within a flight: scatter against mirror and others; a servo that ends a flight
# hot shows a part of its rise between the thirds (ours).
_RAMP_SIGMA = (0.02, 0.05)
_RAMP_RESPONSE = 0.5
# Currents below this share of a resolution step are no measurement.
_LEAST_STEPS = 0.5
_LEAST_A = 0.01
_FEW_BLOCKS = 4


def mirror_place(aircraft: Aircraft, place: str, places: Sequence[str]) -> str | None:
    """The like place on the other side: the profile's word, else by name; only if measured."""
    found = aircraft.mirror(place) or mirror_of(place)
    return found if found in places and found != place else None


def current_parts(
    flights: Sequence[Measures], place: str, others: Sequence[str], *, mirror: bool
) -> list[Part]:
    """Stir, flight and rest current of a place against others, as parts of one evidence.

    Parameters
    ----------
    flights : sequence of Measures
    place : str
    others : sequence of str
        Places to set it against; none: it is set against nothing but its own past.
    mirror : bool
        Whether they are its mirror.

    Returns
    -------
    list of Part
        Values are logarithms of ratios.
    """
    kind = 2 if not others else 0 if mirror else 1
    made = []
    for name in ("stir", "air", "rest"):
        rows = []
        for k, m in enumerate(flights):
            found = (
                _rest_ratio(m, place, others)
                if name == "rest"
                else _load_ratio(m, m.stir if name == "stir" else m.air, place, others)
            )
            if found is not None:
                rows.append((k, *found))
        if not rows:
            continue
        at, y, se, level = (np.array(column) for column in zip(*rows, strict=True))
        regress = kind == 1
        made.append(
            Part(
                name=name,
                at=at.astype(np.int64),
                y=y,
                se=se,
                sigma=_SIGMA[name][kind],
                response=_RESPONSE[name],
                design=(level - level.mean())[:, None] if regress else None,
                slope=np.zeros(1) if regress else None,
                slope_sd=np.array([_SLOPE_SD[name]]) if regress else None,
            )
        )
    return made


def _load_ratio(
    m: Measures, blocks: Blocks | None, place: str, others: Sequence[str]
) -> tuple[float, float, float] | None:
    """Log of the ratio of mean currents, its standard error, log of the others' current."""
    if blocks is None or place not in blocks.amps or any(o not in blocks.amps for o in others):
        return None
    own = blocks.amps[place]
    all_others = sum((blocks.amps[o] for o in others), np.zeros_like(own))
    good = np.isfinite(own) & np.isfinite(all_others)
    own, all_others = own[good], all_others[good]
    n = own.size
    if n < _FEW_BLOCKS:
        return None
    step = m.steps_a.get(place, 0.0)
    floor = max(_LEAST_STEPS * step, _LEAST_A)
    top = max(float(own.mean()), floor)
    rounding = step**2 / (12.0 * n)
    if not others:
        return float(np.log(top)), float(np.sqrt(own.var(ddof=1) / n + rounding) / top), 0.0
    below = max(float(all_others.mean()), floor)
    # Delta method on paired stretches: the common movement cancels.
    scatter = own / top - all_others / below
    se = np.sqrt(scatter.var(ddof=1) / n + rounding / top**2)
    return float(np.log(top / below)), float(se), float(np.log(below))


def _rest_ratio(
    m: Measures, place: str, others: Sequence[str]
) -> tuple[float, float, float] | None:
    own = m.value(place, "rest_a")
    values = [m.value(o, "rest_a") for o in others]
    if own is None or any(v is None for v in values):
        return None
    floor = max(_LEAST_STEPS * m.steps_a.get(place, 0.0), _LEAST_A)
    top = max(own, floor)
    se = _se(m, place, "rest_a") / top
    if not others:
        return float(np.log(top)), float(se), 0.0
    below = max(sum(v for v in values if v is not None), floor)
    below_se = np.sqrt(sum(_se(m, o, "rest_a") ** 2 for o in others))
    return float(np.log(top / below)), float(np.hypot(se, below_se / below)), float(np.log(below))


def _se(m: Measures, place: str, feature: str) -> float:
    found = m.get(place, feature)
    if found is None or found.low is None or found.high is None:
        return 0.0
    return (found.high - found.low) / 4.0


def ramp_part(
    flights: Sequence[Measures], place: str, others: Sequence[str], *, mirror: bool
) -> Part | None:
    """How far the ratio rises from the first to the last third of a flight, as one part."""
    rows = []
    for k, m in enumerate(flights):
        if m.air is None or any(p not in m.air.amps for p in (place, *others)):
            continue
        own = m.air.amps[place]
        below = sum((m.air.amps[o] for o in others), np.zeros_like(own))
        third = own.size // 3
        early, late = slice(0, third), slice(own.size - third, own.size)
        found = [_mean_log_ratio(own[part], below[part]) for part in (late, early)]
        if None in found:
            continue
        (end, end_se), (start, start_se) = [f for f in found if f is not None]
        rows.append((k, end - start, float(np.hypot(end_se, start_se))))
    if not rows:
        return None
    at, y, se = (np.array(column) for column in zip(*rows, strict=True))
    return Part(
        name="ramp",
        at=at.astype(np.int64),
        y=y,
        se=se,
        sigma=_RAMP_SIGMA[0 if mirror else 1],
        response=_RAMP_RESPONSE,
    )


def _mean_log_ratio(own: FloatArray, below: FloatArray) -> tuple[float, float] | None:
    good = np.isfinite(own) & np.isfinite(below)
    n = int(good.sum())
    if n < _FEW_BLOCKS:
        return None
    a, b = float(own[good].mean()), float(below[good].mean())
    if a <= _LEAST_A or b <= _LEAST_A:
        return None
    scatter = own[good] / a - below[good] / b
    return float(np.log(a / b)), float(scatter.std(ddof=1) / np.sqrt(n))
