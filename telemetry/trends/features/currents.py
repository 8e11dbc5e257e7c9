"""Features of one place's current: at rest, in the stir, in the air."""

from __future__ import annotations

import numpy as np

from telemetry.readings import Reading, block_means
from telemetry.results import Flight, Phase
from telemetry.trends.features.windows import (
    LEAST_AIR_S,
    Window,
    block_length,
    edges,
    full_stirs,
    ground_before,
    inner,
    interval,
    rounding,
)
from telemetry.trends.measures import Measure


def current_features(place: str, r: Reading, flight: Flight, air: list[Window]) -> list[Measure]:
    """Rest, stir and flight current of a place, each with an interval where there is one."""
    out = [resting_current(place, r, flight.phases)]
    before = full_stirs(flight)
    rows = [p for s in before for p in s.places if p.place == place]
    for name in ("mean_a", "p95_a", "peak_a"):
        known = [v for p in rows if (v := getattr(p, name)) is not None]
        if not known:
            continue
        value = max(known) if name == "peak_a" else float(np.mean(known))
        low = high = None
        if name == "mean_a":
            inside = [block_means(r.t, r.v, edges(inner(s), block_length(r))) for s in before]
            low, high = interval(np.concatenate(inside), r.resolution)
        out.append(
            Measure(place=place, feature=f"stir_{name}", value=value, unit="A", low=low, high=high)
        )
    falls = [p.after_a - p.rest_a for p in rows if p.after_a is not None and p.rest_a is not None]
    if falls:
        out.append(
            Measure(
                place=place, feature="stir_afterwards_a", value=float(np.median(falls)), unit="A"
            )
        )
    if air:
        v = np.concatenate([r.within(a, b).v for a, b in air])
        if v.size >= 20:
            block_s = max(LEAST_AIR_S, block_length(r))
            means = np.concatenate([block_means(r.t, r.v, edges(w, block_s)) for w in air])
            low, high = interval(means, r.resolution)
            out.append(
                Measure(
                    place=place,
                    feature="air_mean_a",
                    value=float(v.mean()),
                    unit="A",
                    low=low,
                    high=high,
                )
            )
            out.append(
                Measure(
                    place=place, feature="air_p95_a", value=float(np.quantile(v, 0.95)), unit="A"
                )
            )
    return [m for m in out if m.value is not None]


def resting_current(place: str, r: Reading, phases: tuple[Phase, ...]) -> Measure:
    """Current at rest: the lower quartile of short means on the ground before the flight.

    The ground holds control checks and taxiing besides rest; a quartile of many stretches stays
    below them and above a single dropout.
    """
    nothing = Measure(place=place, feature="rest_a", value=None, unit="A")
    ground = ground_before(phases)
    block_s = block_length(r)
    means = [block_means(r.t, r.v, edges(inner(p), block_s)) for p in ground]
    x = np.concatenate(means) if means else np.empty(0)
    x = np.sort(x[np.isfinite(x)])
    if x.size < 4:
        return nothing
    lower = x[: x.size // 2]
    value = float(np.median(lower))
    quiet = np.concatenate([r.within(*inner(p)).v for p in ground])
    quiet = quiet[quiet <= np.median(quiet)] if quiet.size else quiet
    se = np.hypot(
        float(lower.std(ddof=1)) / np.sqrt(lower.size), rounding(quiet, r.resolution or 0.0)
    )
    return Measure(
        place=place,
        feature="rest_a",
        value=value,
        unit="A",
        low=max(0.0, value - 2.0 * float(se)),
        high=value + 2.0 * float(se),
    )
