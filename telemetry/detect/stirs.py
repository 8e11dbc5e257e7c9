"""Stir measures per place: the aircraft's standard load test in numbers."""

from __future__ import annotations

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.detect.phases import spans_of
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics import sampling
from telemetry.numerics.charge import charge_mah
from telemetry.numerics.spans import common, longer, overlap_s
from telemetry.readings import Reading, Readings, Total, still_spans, total_current
from telemetry.results import Phase, PhaseKind, Stir, StirPlace

# Rest is read from this long before the stir, leaving half a second for its onset.
_REST_S = 15.0
_ONSET_S = 0.5
# So long after it the sticks are surely still; a reading holds no longer than this (heuristic).
_STILL_S = 2.0
_HELD_S = 10.0
# Fewest readings for a mean and for a 95th percentile that say something (heuristic).
_FEW = 3
_FEW_P95 = 10

Window = tuple[float, float]
# The stir, the rest beside it, the rests after it.
Times = tuple[Window, Window | None, list[Window]]


def measure_stirs(
    readings: Readings, aircraft: Aircraft, phases: tuple[Phase, ...], hold_s: float
) -> tuple[Stir, ...]:
    """Measures of each stir in these phases.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
    phases : tuple of Phase
        Of one flight or bench recording.
    hold_s : float
        Longest pause between readings over which charge is still counted, s.

    Returns
    -------
    tuple of Stir
        Per place: rest current before [A]; mean, 95th percentile and peak [A]; charge [mAh];
        lowest voltage [V]; sag per amp [mOhm], the fall of the mean voltage from rest over the
        rise of the mean current, against the place's own current or else the whole current.
        None where there are too few readings.
    """
    flights = spans_of(phases, PhaseKind.FLIGHT)
    drawing = [
        r
        for r in readings.of(Quantity.CURRENT)
        if r.place != aircraft.root and aircraft.kind(r.place) is PlaceKind.NODE
    ]
    still = still_spans(readings, drawing, spans_of(phases, PhaseKind.GROUND))
    out = []
    for span in spans_of(phases, PhaseKind.STIR):
        rest = rest_beside(span, phases)
        after = rests_after(span, still)
        out.append(
            Stir(
                start_s=span[0],
                end_s=span[1],
                rhythm_hz=stick_rhythm(readings, span),
                after_flight=any(f[1] <= span[0] for f in flights),
                places=_places(readings, aircraft, (span, rest, after), hold_s),
            )
        )
    return tuple(out)


def rest_beside(span: tuple[float, float], phases: tuple[Phase, ...]) -> tuple[float, float] | None:
    """The ground time just before the stir, or just after it where none lies before."""
    ground = spans_of(phases, PhaseKind.GROUND)
    before = (span[0] - _REST_S, span[0] - _ONSET_S)
    after = (span[1] + _ONSET_S, span[1] + _REST_S)
    for wanted, nearest in ((before, -1), (after, 0)):
        seen = [g for g in ground if overlap_s(g, wanted) >= 1.0]
        if seen:
            best = seen[nearest]
            return max(best[0], wanted[0]), min(best[1], wanted[1])
    return None


def rests_after(span: Window, still: list[Window]) -> list[Window]:
    """Where all lay still after the stir, nothing commanded and nothing moving, for long enough."""
    return longer(common([(span[1] + _STILL_S, span[1] + _REST_S)], still), _STILL_S)


def _places(
    readings: Readings,
    aircraft: Aircraft,
    times: Times,
    hold_s: float,
) -> tuple[StirPlace, ...]:
    volts = {r.place: r for r in readings.of(Quantity.VOLTAGE)}
    amps = {r.place: r for r in readings.of(Quantity.CURRENT)}
    total = total_current(readings, aircraft)
    rows = []
    for place in dict.fromkeys([*amps, *volts]):
        own = amps.get(place)
        current = (own.t, own.v) if own is not None else None
        rows.append(_measure(place, current, volts.get(place), total, times, hold_s))
    if total is not None and total.is_sum:
        rows.append(_measure("total", (total.t, total.v), None, None, times, hold_s))
    return tuple(rows)


def _measure(
    place: str,
    current: tuple[FloatArray, FloatArray] | None,
    volts: Reading | None,
    total: Total | None,
    times: Times,
    hold_s: float,
) -> StirPlace:
    span, rest, later = times
    # What falls back once is not held: who taxies on draws more again.
    fallen = [a for w in later if (a := fallen_to(current, w)) is not None]
    inside = _part(current, span)
    before = _part(current, rest)
    rest_a = float(before.mean()) if before.size >= _FEW else None
    mean_a = float(inside.mean()) if inside.size >= _FEW else None
    mah = None
    if current is not None and inside.size >= _FEW:
        mah = charge_mah(*_cut(current, span), max_gap_s=hold_s)
    u = _part(None if volts is None else (volts.t, volts.v), span)
    u_rest = _part(None if volts is None else (volts.t, volts.v), rest)
    sag = None
    drive = current if current is not None else (None if total is None else (total.t, total.v))
    drive_in, drive_rest = _part(drive, span), _part(drive, rest)
    if min(u.size, u_rest.size, drive_in.size, drive_rest.size) >= _FEW:
        rise = float(drive_in.mean() - drive_rest.mean())
        if rise > 0.3:
            sag = 1000.0 * float(u_rest.mean() - u.mean()) / rise
    return StirPlace(
        place=place,
        rest_a=rest_a,
        mean_a=mean_a,
        p95_a=float(np.quantile(inside, 0.95)) if inside.size >= _FEW_P95 else None,
        peak_a=float(inside.max()) if inside.size >= _FEW else None,
        mah=mah,
        lowest_v=float(u.min()) if u.size else None,
        sag_mohm=sag,
        after_a=min(fallen, default=None),
    )


def fallen_to(series: tuple[FloatArray, FloatArray] | None, span: Window | None) -> float | None:
    """Level to which a current falls back, A: its 20 % quantile over the time, in a span of rest.

    A reading holds until the next: a level at rest may be written once for seconds. The first
    has to be of the rest itself.
    """
    if series is None or span is None:
        return None
    t, v = _cut(series, (span[0] - _STILL_S + _ONSET_S, span[1]))
    grid = np.arange(span[0], span[1], 0.25)
    held = sampling.held_at(t, v, grid, _HELD_S)
    held = held[np.isfinite(held)]
    if t.size < _FEW or 0.25 * held.size < _STILL_S:
        return None
    return float(np.quantile(held, 0.2))


def _cut(
    series: tuple[FloatArray, FloatArray], span: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    a, b = (int(i) for i in np.searchsorted(series[0], span))
    return series[0][a:b], series[1][a:b]


def _part(
    series: tuple[FloatArray, FloatArray] | None, span: tuple[float, float] | None
) -> FloatArray:
    if series is None or span is None:
        return np.empty(0)
    return _cut(series, span)[1]


def stick_rhythm(readings: Readings, span: tuple[float, float]) -> float | None:
    """Rhythm of the stick in Hz, from control columns only.

    The strongest line of the stick's spectrum; None where the control is sampled fewer than four
    times a period, where fewer than two periods were seen, or where no line stands out. A
    current can't tell it: it follows the rate of travel and its ripple is too fast for telemetry.
    """
    best: tuple[float, float] | None = None
    for r in readings.of(Quantity.CONTROL):
        if r.place == "throttle" or r.update_s is None:
            continue
        part = r.within(*span)
        if part.size < 16:
            continue
        step = max(r.update_s, 0.02)
        t = np.arange(span[0], span[1], step)
        x = np.interp(t, part.t, part.v)
        x = (x - x.mean()) * np.hanning(t.size)
        power = np.abs(np.fft.rfft(x, 8 * t.size)) ** 2
        hertz = np.fft.rfftfreq(8 * t.size, step)
        seen = (hertz >= 2.0 / (span[1] - span[0])) & (hertz <= 0.25 / step)
        k = int(np.argmax(power))
        if not seen[k]:
            continue
        near = np.abs(hertz - hertz[k]) <= 2.0 / (span[1] - span[0])
        share = float(power[near].sum() / power.sum())
        if share > 0.5 and (best is None or share > best[0]):
            best = (share, float(hertz[k]))
    return None if best is None else best[1]
