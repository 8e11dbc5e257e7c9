"""The readings that travel inside an HTML report, so that values can be read off its timeline."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from telemetry.aircraft import Limits
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.readings import Reading
from telemetry.report.figures.style import Look
from telemetry.report.figures.traces import sparse_enough
from telemetry.report.words import decimals_of
from telemetry.report.writers.svg import VARIABLES

# Readings that travel in a file, all traces together; more are thinned to their envelope.
_MOST_READINGS = 130_000
_LONGEST_STEP_MS = 65_535


def dashes(look: Look) -> str:
    """The dashes of a line as SVG has them."""
    return " ".join(f"{d:g}" for d in look.dash) or "none"


def packed(
    traces: Sequence[tuple[Quantity, Reading]],
    places: Sequence[str],
    looks: Mapping[str, Look],
    limits: Limits,
) -> dict[str, Any]:
    """The readings behind the timeline, small enough to travel in the page.

    Parameters
    ----------
    traces : sequence of (Quantity, Reading)
    places : sequence of str
        In the order of the page; a trace names its place by its index.
    looks : mapping of place to Look
    limits : Limits

    Returns
    -------
    dict
        ``clocks``: start (s) and steps (unsigned 16 bit, ms, base64), shared by traces of equal
        instants. ``traces``: for each one, values (signed 16 bit, base64) with
        ``value = base + step * count`` and -32768 for none. With more than 130 000 readings in
        all, each trace is thinned to its envelope; ``every`` is then the stretch, s, of which the
        lowest and the highest reading are there (0 where all are), ``hold`` spans two of them,
        and a blank stands in each gap of the log.
    """
    share = max(200, _MOST_READINGS // max(1, len(traces)))
    clocks: dict[tuple[float, str], int] = {}
    found = []
    for quantity, r in traces:
        hold = r.hold_s(limits)
        time_s, values = sparse_enough(r, share)
        every = 0.0
        if time_s.size < r.size:
            every = (r.t[-1] - r.t[0]) / max(1, share // 2 - 1)
            time_s, values = _with_gaps(time_s, values, r.t, hold)
            hold = max(hold, 2.1 * every)
        time_s, values = _without_long_steps(time_s, values)
        ms = np.round(time_s * 1000).astype(np.int64)
        start = float(ms[0]) / 1000
        steps = _base64(np.diff(ms, prepend=ms[0]).astype("<u2"))
        known = values[np.isfinite(values)]
        low, high = float(known.min()), float(known.max())
        step = max(r.resolution or 0.0, (high - low) / 65_000, 1e-6)
        counts = np.where(np.isfinite(values), np.round((values - low) / step) - 32_500, -32_768)
        look = looks[r.place]
        found.append(
            {
                "place": places.index(r.place),
                "quantity": str(quantity),
                "unit": r.channel.unit,
                "digits": decimals_of(r.resolution or 0.01),
                "hold": hold,
                "every": float(every),
                "colour": VARIABLES[look.colour],
                "dash": dashes(look),
                "clock": clocks.setdefault((start, steps), len(clocks)),
                "base": low + 32_500 * step,
                "step": step,
                "values": _base64(counts.astype("<i2")),
            }
        )
    listed = [{"start": start, "steps": steps} for start, steps in clocks]
    return {"clocks": listed, "traces": found}


def _with_gaps(
    time_s: FloatArray, values: FloatArray, all_s: FloatArray, hold_s: float
) -> tuple[FloatArray, FloatArray]:
    """A thinned trace with a blank where the whole one has a gap: thinning must not hide it."""
    blanks = all_s[:-1][np.diff(all_s) > hold_s] + hold_s
    where = np.searchsorted(time_s, blanks)
    return np.insert(time_s, where, blanks), np.insert(values, where, np.nan)


def _without_long_steps(time_s: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Put blank samples into silences too long for two bytes of milliseconds."""
    longest = _LONGEST_STEP_MS / 1000 - 0.01
    extra = [
        t + longest * k
        for t, step in zip(time_s[:-1], np.diff(time_s), strict=True)
        if step > longest
        for k in range(1, int(step // longest) + 1)
    ]
    if not extra:
        return time_s, values
    all_t = np.r_[time_s, extra]
    order = np.argsort(all_t, kind="stable")
    return all_t[order], np.r_[values, np.full(len(extra), np.nan)][order]


def _base64(array: Any) -> str:
    return base64.b64encode(array.tobytes()).decode("ascii")
