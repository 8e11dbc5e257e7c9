"""What the worst cases start from, taken from the readings of one flight."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.circuit.known import TOTAL, Measured
from telemetry.measure.sharing import Sharing
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.intervals import Interval
from telemetry.numerics.statistics.extremes import decluster, return_level
from telemetry.readings import Readings, lowest_of, lowest_voltage, total_current
from telemetry.results import WORKING_PHASES, Phase, PhaseKind, PlaceLoad

# The state at landing is the mean over this last stretch of the flight (heuristic: long enough for
# tens of readings of voltage and current, short against the fall of a pack).
_LANDING_S = 60.0
_LEAST_READINGS = 5
# A pack that stops within this time of landing was switched off by then (heuristic).
_SETTLED_S = 5.0
# Peaks are taken above the level that a flight's current exceeds a tenth of the time (heuristic);
# the fit raises it further.
_PEAK_QUANTILE = 0.9
# Servo currents swing within about a tenth of a second (common practice, no source); between two
# readings further apart a higher peak may pass.
_SWING_S = 0.1
# A lead or a contact is as warm as its current makes it within about this time (heuristic).
_WARM_S = 60.0


# Instants [s], values, update interval [s].
_Series = tuple[FloatArray, FloatArray, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakSet:
    """Declustered current peaks of one place over some flights.

    Attributes
    ----------
    threshold_a : float
        All peaks are above it.
    value_a : ndarray, shape (n,)
    missed_a : float
        How much higher a peak may have been between two readings.
    flights : int
        Flights they come from, those without a peak included.
    """

    threshold_a: float
    value_a: FloatArray
    missed_a: float = 0.0
    flights: int = 1


def current_peaks(
    phases: Sequence[Phase], readings: Readings, aircraft: Aircraft
) -> dict[str, PeakSet]:
    """Peaks of each place's current, and of the total, in the flight of one recording.

    Returns
    -------
    dict
        Place to PeakSet, "total" for the whole; empty for a bench recording.
    """
    flown = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.FLIGHT]
    if not flown:
        return {}
    out = {}
    for place, (t, v, update_s) in current_series(readings, aircraft).items():
        inside = is_inside(t, flown)
        if inside.sum() < _LEAST_READINGS:
            continue
        threshold = float(np.quantile(v[inside], _PEAK_QUANTILE))
        found = decluster(t[inside], v[inside], threshold, aircraft.limits.burst_s)
        out[place] = PeakSet(
            threshold_a=threshold,
            value_a=found.value,
            missed_a=missed_peak_a(v[inside], update_s),
        )
    return out


def pooled_peaks(sets: Iterable[PeakSet]) -> PeakSet:
    """Peaks of several flights together, above the highest of their thresholds.

    Raises
    ------
    ValueError
        Where there is no set.
    """
    known = list(sets)
    if not known:
        raise ValueError("there are no peaks to pool")
    threshold = max(s.threshold_a for s in known)
    values = np.concatenate([s.value_a for s in known])
    return PeakSet(
        threshold_a=threshold,
        value_a=values[values > threshold],
        missed_a=max(s.missed_a for s in known),
        flights=sum(s.flights for s in known),
    )


def measured_in(
    phases: Sequence[Phase],
    readings: Readings,
    aircraft: Aircraft,
    sharing: Sharing,
    peaks: Mapping[str, PeakSet] | None = None,
) -> Measured:
    """Lowest voltages, peaks, shares and the state at landing, as far as the log tells them.

    Parameters
    ----------
    phases : sequence of Phase
        Load is judged in flight and stirs; a redundancy check is no load case of its own.
    readings : Readings
        Of the same stretch.
    aircraft : Aircraft
    sharing : Sharing
        Of the same stretch.
    peaks : mapping of PeakSet or None
        Of all flights, for the return level; None: of this flight alone.
    """
    working = [p for p in phases if p.kind in WORKING_PHASES]
    loaded = [(p.start_s, p.end_s) for p in working]
    landing = landing_span(phases)
    currents = current_series(readings, aircraft)
    lowest: dict[str, float] = {}
    comfort: dict[str, float] = {}
    highest: dict[str, Interval] = {}
    for r in readings.of(Quantity.VOLTAGE):
        if (low := lowest_voltage(readings, r.place, working)) is not None:
            lowest[r.place] = low.value
        if (level := aircraft.comfort_v(r.place, r.rest_v)) is not None:
            comfort[r.place] = level
    for place, (t, v, update_s) in currents.items():
        hold = readings.get(Quantity.CURRENT, place, hold="max")
        if (top := lowest_of(t, -v, hold, working, -1.0)) is not None:
            missed = missed_peak_a(v[is_inside(t, loaded)], update_s)
            highest[place] = Interval.around(-top.value, 0.0, missed)
    volts = {r.place: (r.t, r.v, 0.0) for r in readings.of(Quantity.VOLTAGE)}
    peaks = current_peaks(phases, readings, aircraft) if peaks is None else peaks
    # The root's is that of the whole, and no case asks for a pack's.
    unasked = {aircraft.root, *(p.name for p in aircraft.packs)}
    levels = return_levels(
        {place: x for place, x in peaks.items() if place not in unasked},
        aircraft.limits.return_flights,
    )
    return Measured(
        lowest_v=lowest,
        comfort_v=comfort,
        landing_v=mean_currents(volts, landing),
        landing_a=mean_currents(currents, landing),
        usual_a=warm_currents(currents, loaded),
        peak_a=highest,
        share={s.place: s.of_changes for s in sharing.under_load if s.of_changes is not None},
        return_a={place: x for place, x in levels.items() if isinstance(x, Interval)},
        no_return={place: x for place, x in levels.items() if isinstance(x, str)},
        gone=frozenset(
            o.place
            for o in sharing.outs
            if landing is not None and o.start_s < landing[1] - _SETTLED_S and landing[1] <= o.end_s
        ),
    )


def place_loads(measured: Measured, root: str | None) -> tuple[PlaceLoad, ...]:
    """What each place carried; the total is the root's."""

    def value(known: Mapping[str, Interval], place: str) -> float | None:
        found = known.get(TOTAL) if place == root else None
        found = found or known.get(place)
        return None if found is None else found.value

    known = (measured.landing_v, measured.landing_a, measured.peak_a)
    named = [place for part in known for place in part if place != TOTAL]
    if root is not None and TOTAL in measured.peak_a:
        named.append(root)
    return tuple(
        PlaceLoad(
            place=place,
            usual_a=measured.usual_a.get(TOTAL if place == root else place),
            peak_a=value(measured.peak_a, place),
            landing_a=value(measured.landing_a, place),
            landing_v=value(measured.landing_v, place),
        )
        for place in dict.fromkeys(named)
    )


def return_levels(peaks: Mapping[str, PeakSet], over_flights: float) -> dict[str, Interval | str]:
    """Return level of each place, or why there is none."""
    out: dict[str, Interval | str] = {}
    for place, found in peaks.items():
        level = return_level(
            found.value_a,
            found.threshold_a,
            flights=found.flights,
            over_flights=over_flights,
        )
        if level.level is None or level.low is None or level.high is None:
            out[place] = level.refused
        else:
            out[place] = Interval(level.level, level.low, level.high + found.missed_a)
    return out


def current_series(readings: Readings, aircraft: Aircraft) -> dict[str, _Series]:
    """Instants, s, values, A, and update interval, s, of each current and the whole."""
    out = {r.place: (r.t, r.v, r.update_s or readings.row_s) for r in readings.of(Quantity.CURRENT)}
    total = total_current(readings, aircraft)
    if total is not None:
        out[TOTAL] = (total.t, total.v, total.update_s)
    return out


def missed_peak_a(amps: FloatArray, update_s: float) -> float:
    """How much higher a peak may have been between two readings, A.

    Read every swing instead of every update, the current would be seen ``update / swing`` times
    as often; with an exponential tail its highest value then lies that tail's scale times the
    logarithm higher.
    """
    times = update_s / _SWING_S
    if amps.size < _LEAST_READINGS or not times > 1:
        return 0.0
    level = float(np.quantile(amps, _PEAK_QUANTILE))
    above = amps[amps > level]
    return float(above.mean() - level) * math.log(times) if above.size else 0.0


def landing_span(phases: Sequence[Phase]) -> tuple[float, float] | None:
    """The last stretch of the flight; of a bench recording the last stir."""
    for kind in WORKING_PHASES:
        last = [p for p in phases if p.kind is kind]
        if last:
            end = last[-1].end_s
            return max(last[-1].start_s, end - _LANDING_S), end
    return None


def is_inside(t: FloatArray, spans: Sequence[tuple[float, float]]) -> np.ndarray:
    """Mask: True within any of the spans, s, the end left out."""
    found = np.zeros(t.size, dtype=bool)
    for start, end in spans:
        found |= (t >= start) & (t < end)
    return found


def warm_currents(
    series: Mapping[str, _Series], spans: Sequence[tuple[float, float]]
) -> dict[str, float]:
    """Highest mean over a minute of each series, or over the longest stretch there is."""
    out: dict[str, float] = {}
    for place, (t, v, _) in series.items():
        found = []
        for start, end in spans:
            edges = np.append(
                np.arange(start, end - _WARM_S, _WARM_S / 4), max(start, end - _WARM_S)
            )
            first, last = np.searchsorted(t, (edges, np.minimum(edges + _WARM_S, end)))
            found += [
                float(v[a:b].mean())
                for a, b in zip(first, last, strict=True)
                if b - a >= _LEAST_READINGS
            ]
        if found:
            out[place] = max(found)
    return out


def mean_currents(
    series: Mapping[str, _Series], span: tuple[float, float] | None
) -> dict[str, Interval]:
    """Mean of each series over the span; the interval is that of sampling it at these instants."""
    out: dict[str, Interval] = {}
    if span is None:
        return out
    for place, (t, v, _) in series.items():
        part = v[(t >= span[0]) & (t < span[1])]
        if part.size >= _LEAST_READINGS:
            half = 1.96 * float(part.std(ddof=1)) / math.sqrt(part.size)
            out[place] = Interval.around(float(part.mean()), half)
    return out
