"""Three baselines on node stir current alone, at a false-alarm rate of choice.

Each gives, flight by flight, a statistic per node from flights 1 to k; it signals where the
statistic exceeds a threshold, and the threshold is set on healthy seasons so that the stated share
of them has any signal.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from telemetry.numerics.statistics.robust import mann_kendall
from tests.accuracy.many_flights.running import Outcome

#: First flight that is judged: with fewer nothing has a usual value.
FIRST = 3

# Flights from which the fixed limit learns mean and deviation.
_BASELINE = 5


def sigma_limit(x: np.ndarray) -> float:
    """The last stir in deviations above the mean of the first five (the "3-sigma" limit)."""
    if x.size <= _BASELINE:
        return -np.inf
    base = x[:_BASELINE]
    return float((x[-1] - base.mean()) / max(base.std(ddof=1), 1e-3 * base.mean()))


def change_point(x: np.ndarray) -> float:
    """What the best single upward change of mean explains, by an off-the-shelf library."""
    if x.size < 4:
        return -np.inf
    import ruptures  # of [full] only: the tests read this module's tables without it

    scale = max(float(np.median(np.abs(np.diff(x)))), 1e-3 * float(x.mean()))
    z = x / scale
    search = ruptures.Binseg(model="l2", min_size=2, jump=1).fit(z)
    split = search.predict(n_bkps=1)[0]
    if split >= x.size or z[split:].mean() <= z[:split].mean():
        return -np.inf
    cost = ruptures.costs.CostL2().fit(z)
    return float(cost.error(0, z.size) - cost.error(0, split) - cost.error(split, z.size))


def trend_alone(x: np.ndarray) -> float:
    """Mann-Kendall: minus the logarithm of the exact one-sided p-value."""
    return float(-np.log(mann_kendall(x).p_rising)) if x.size >= FIRST else -np.inf


RIVALS: dict[str, Callable[[np.ndarray], float]] = {
    "fixed 3-sigma limit": sigma_limit,
    "change-point library": change_point,
    "Mann-Kendall alone": trend_alone,
}


def statistics(outcome: Outcome, rival: Callable[[np.ndarray], float]) -> list[tuple[str, float]]:
    """Per flight the node with the largest statistic, and that statistic."""
    out = []
    flights = max((len(v) for v in outcome.stirs.values()), default=0)
    for k in range(1, flights + 1):
        best = ("", -np.inf)
        for place, values in outcome.stirs.items():
            # Logarithms: vigour works on the current as a factor.
            x = np.log([v for v in values[:k] if v is not None and v > 0])
            if values[k - 1] is None or k < FIRST:
                continue
            score = rival(x + 5.0)
            if score > best[1]:
                best = (place, score)
        out.append(best)
    return out


def threshold(
    healthy: Sequence[Outcome], rival: Callable[[np.ndarray], float], rate: float
) -> float:
    """Threshold that this share of healthy seasons exceeds at any flight and node."""
    tops = [max((s for _, s in statistics(o, rival)), default=-np.inf) for o in healthy]
    return float(np.quantile(tops, 1.0 - rate))


def found_by(
    outcome: Outcome, rival: Callable[[np.ndarray], float], limit: float
) -> tuple[int | None, bool | None]:
    """Flight of the first signal since the onset, and whether it was at the right place."""
    assert outcome.onset is not None
    for k, (place, score) in enumerate(statistics(outcome, rival), 1):
        if k >= outcome.onset and score > limit:
            return k, place in outcome.places
    return None, None
