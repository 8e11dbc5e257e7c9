"""Features of one flight, place by place, from its review and the readings of its log."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy import stats

from telemetry.aircraft import Aircraft
from telemetry.channels import PlaceKind, Quantity, kind_of_place
from telemetry.history.measures import Blocks, EventCount, GroupDraw, Measure, Measures
from telemetry.log import FloatArray
from telemetry.readings import Reading, Readings, block_means, take_readings, total_current
from telemetry.results import EventKind, Flight, Phase, PhaseKind, Review

# The onset and the end of a stir are no steady load.
_EDGE_S = 0.3
# Stretches of the stir and of the ground, and parts of a flight (ours): long enough to hold
# several readings each, and enough of them to tell their scatter.
_STIR_BLOCK_S = 1.0
_REST_BLOCK_S = 1.0
_AIR_BLOCKS = 36
_LEAST_AIR_BLOCK_S = 5.0
# Readings in a stretch, at the least.
_READINGS = 2.0
_START_S = 20.0
_LOADED = (PhaseKind.STIR, PhaseKind.FLIGHT)
_FALLS = (EventKind.SAG, EventKind.SHIFT)
_LOWEST = (
    (PhaseKind.GROUND, "lowest_idle_v"),
    (PhaseKind.STIR, "lowest_stir_v"),
    (PhaseKind.FLIGHT, "lowest_flight_v"),
)
TOTAL = "total"

Window = tuple[float, float]


def measures(review: Review, number: int = 1) -> dict[str, Any]:
    """Measure document of one flight of a review, as plain JSON values.

    Parameters
    ----------
    review : Review
    number : int
        Which of its flights, from 1.

    Returns
    -------
    dict
        As :meth:`telemetry.history.measures.Measures.of` reads it back.
    """
    return measure_flight(review, number).document()


def measure_flight(review: Review, number: int = 1) -> Measures:
    """The same as a record."""
    flight = review.flights[number - 1]
    aircraft = review.aircraft
    everything = take_readings(review.log, review.limits)
    readings = everything.within(flight.start_s, flight.end_s)
    currents = _currents(readings, aircraft)
    loads = [p for p in currents if p in load_places(aircraft, tuple(currents))]
    updates = [u for p in loads if (u := currents[p].update_s) is not None]
    volts = {r.place: r for r in readings.of(Quantity.VOLTAGE) if r.size}
    block_s = max(_STIR_BLOCK_S, _READINGS * max(updates, default=0.0))
    stirs = [(s.start_s + _EDGE_S, s.end_s - _EDGE_S) for s in flight.stirs if not s.after_flight]
    air = [(p.start_s, p.end_s) for p in flight.phases if p.kind is PhaseKind.FLIGHT]
    flown_s = sum(b - a for a, b in air)
    air_block_s = max(_LEAST_AIR_BLOCK_S, flown_s / _AIR_BLOCKS)
    found: list[Measure] = []
    for place, r in currents.items():
        found += _current_features(place, r, flight, air)
    for r in volts.values():
        found += _voltage_features(r, flight.phases)
    found += _sags(flight)
    found += _resistances(flight, aircraft)
    found += _charge(flight, readings, aircraft, flown_s)
    counts = _falls(flight)
    for place in dict.fromkeys(c.place for c in counts):
        total = sum(c.count for c in counts if c.place == place)
        found.append(Measure(place=place, feature="falls", value=float(total), unit=""))
    rhythm = [s.rhythm_hz for s in flight.stirs if s.rhythm_hz is not None]
    if rhythm:
        found.append(Measure(place="sticks", feature="stir_rhythm_hz", value=rhythm[0], unit="Hz"))
    return Measures(
        kind=flight.kind,
        start=review.log.provenance.start,
        file=review.log.provenance.file,
        duration_s=flight.duration_s,
        flight_s=flown_s,
        update_s=float(np.median(updates)) if updates else None,
        temperature_c=_temperature(readings),
        features=tuple(found),
        stir=_blocks(currents, volts, stirs, block_s),
        air=_blocks(currents, volts, air, air_block_s),
        groups=_groups(flight),
        events=counts,
        seen=tuple((f.code, f.place or "") for f in review.findings if f.flight == number),
        steps_a={p: r.resolution for p, r in currents.items() if r.resolution is not None},
        servos={n.name: n.servos for n in aircraft.nodes if n.servos is not None},
        labels={p.name: p.label for p in aircraft.packs if p.label is not None},
    )


def load_places(aircraft: Aircraft, places: tuple[str, ...]) -> tuple[str, ...]:
    """The places whose own current drives servos: nodes and receivers, else the whole."""
    nodes = {n.name for n in aircraft.nodes} - {aircraft.bus}
    kinds = (PlaceKind.NODE, PlaceKind.RECEIVER)
    own = tuple(p for p in places if p in nodes or kind_of_place(p) in kinds)
    if own:
        return own
    whole = [p for p in (aircraft.bus, TOTAL) if p is not None and p in places]
    return tuple(whole[:1] or places[:1])


def _currents(readings: Readings, aircraft: Aircraft) -> dict[str, Reading]:
    """Current of each place; of the whole as "total" where only the sum of the packs tells it."""
    out = {r.place: r for r in readings.of(Quantity.CURRENT) if r.size}
    total = total_current(readings, aircraft)
    if total is not None and " + " in total.name and out:
        like = next(iter(out.values()))
        out[TOTAL] = Reading(
            channel=like.channel,
            t=total.t,
            v=total.v,
            update_s=total.update_s,
            resolution=like.resolution,
        )
    return out


def _current_features(place: str, r: Reading, flight: Flight, air: list[Window]) -> list[Measure]:
    out = [_rest(place, r, flight.phases)]
    before = [s for s in flight.stirs if not s.after_flight]
    rows = [p for s in before for p in s.places if p.place == place]
    for name in ("mean_a", "p95_a", "peak_a"):
        known = [v for p in rows if (v := getattr(p, name)) is not None]
        if not known:
            continue
        value = max(known) if name == "peak_a" else float(np.mean(known))
        low = high = None
        if name == "mean_a":
            inside = [block_means(r.t, r.v, _edges(_inner(s), _block_s(r))) for s in before]
            low, high = _interval(np.concatenate(inside), r.resolution)
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
        parts = [r.within(a, b) for a, b in air]
        v = np.concatenate([p.v for p in parts])
        if v.size >= 20:
            block_s = max(_LEAST_AIR_BLOCK_S, _block_s(r))
            means = np.concatenate(
                [block_means(p.t, p.v, _edges(w, block_s)) for p, w in zip(parts, air, strict=True)]
            )
            low, high = _interval(means, r.resolution)
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


def _block_s(r: Reading) -> float:
    return max(_STIR_BLOCK_S, _READINGS * (r.update_s or 0.0))


def _inner(span: Any) -> Window:
    return span.start_s + _EDGE_S, span.end_s - _EDGE_S


def _edges(window: Window, block_s: float) -> FloatArray:
    """Edges of equal stretches that fill a window."""
    length = max(window[1] - window[0], 0.0)
    return np.linspace(window[0], window[0] + length, max(1, round(length / block_s)) + 1)


def _interval(means: FloatArray, resolution: float | None) -> tuple[float | None, float | None]:
    """95 % interval of the mean of stretches that scatter about it."""
    x = means[np.isfinite(means)]
    if x.size < 3:
        return None, None
    sd = max(float(x.std(ddof=1)), (resolution or 0.0) / np.sqrt(12.0))
    reach = float(stats.t.isf(0.025, x.size - 1)) * sd / np.sqrt(x.size)
    return float(x.mean()) - reach, float(x.mean()) + reach


def _rest(place: str, r: Reading, phases: tuple[Phase, ...]) -> Measure:
    """Current at rest: the lower quartile of short means on the ground before the flight.

    The ground holds control checks and taxiing besides rest; a quartile of many stretches stays
    below them and above a single dropout.
    """
    nothing = Measure(place=place, feature="rest_a", value=None, unit="A")
    first = next((p.start_s for p in phases if p.kind is PhaseKind.FLIGHT), np.inf)
    ground = [p for p in phases if p.kind is PhaseKind.GROUND and p.start_s < first]
    block_s = max(_REST_BLOCK_S, _READINGS * (r.update_s or 0.0))
    means = [block_means(r.t, r.v, _edges(_inner(p), block_s)) for p in ground if p.duration_s > 2]
    x = np.concatenate(means) if means else np.empty(0)
    x = np.sort(x[np.isfinite(x)])
    if x.size < 4:
        return nothing
    lower = x[: max(2, x.size // 2)]
    value = float(np.median(lower))
    quiet = np.concatenate([r.within(*_inner(p)).v for p in ground])
    quiet = quiet[quiet <= np.median(quiet)] if quiet.size else quiet
    se = np.hypot(
        float(lower.std(ddof=1)) / np.sqrt(lower.size), _rounding(quiet, r.resolution or 0.0)
    )
    return Measure(
        place=place,
        feature="rest_a",
        value=value,
        unit="A",
        low=max(0.0, value - 2.0 * float(se)),
        high=value + 2.0 * float(se),
    )


def _rounding(v: FloatArray, step: float) -> float:
    """Error of a mean of rounded readings: averaging helps only where noise moves the steps.

    For Gaussian noise of deviation s the error left is about step / sqrt(12) exp(-2 (pi s/step)^2)
    (first harmonic of the sawtooth of rounding).
    """
    if step <= 0 or v.size < 2:
        return float(step / np.sqrt(12.0))
    # Half of a symmetric scatter: the lower half about its top.
    s = float(np.sqrt(np.mean((v - v.max()) ** 2)))
    return float(step / np.sqrt(12.0) * np.exp(-2.0 * (np.pi * s / step) ** 2))


def _voltage_features(r: Reading, phases: tuple[Phase, ...]) -> list[Measure]:
    out = []
    for kind, feature in _LOWEST:
        parts = [r.within(p.start_s, p.end_s).v for p in phases if p.kind is kind]
        v = np.concatenate(parts) if parts else np.empty(0)
        if v.size:
            out.append(Measure(place=r.place, feature=feature, value=float(v.min()), unit="V"))
        if v.size and kind is PhaseKind.GROUND:
            out.append(
                Measure(place=r.place, feature="idle_v", value=float(np.median(v)), unit="V")
            )
    return out


def _sags(flight: Flight) -> list[Measure]:
    """Fall of the mean voltage per amp from rest to stir, mean of the stirs before the flight."""
    rows: dict[str, list[float]] = {}
    for stir in flight.stirs:
        for p in stir.places:
            if p.sag_mohm is not None and not stir.after_flight:
                rows.setdefault(p.place, []).append(p.sag_mohm)
    return [
        Measure(place=place, feature="stir_sag_mohm", value=float(np.mean(found)), unit="mOhm")
        for place, found in rows.items()
    ]


def _resistances(flight: Flight, aircraft: Aircraft) -> list[Measure]:
    """Resistances with intervals; what lies between a pack and the bus counts as the pack's."""
    out = []
    for x in flight.resistances:
        of_pack = x.kind == "branch" and x.parent is not None and aircraft.pack(x.parent)
        place = x.parent if of_pack and x.parent is not None else x.place
        name = "path" if of_pack else x.kind
        if x.mohm is not None:
            out.append(
                Measure(
                    place=place,
                    feature=f"{name}_mohm",
                    value=x.mohm,
                    unit="mOhm",
                    low=x.low_mohm,
                    high=x.high_mohm,
                )
            )
        if x.kind == "branch" and not of_pack and x.offset_v is not None:
            out.append(
                Measure(
                    place=place,
                    feature="offset_v",
                    value=x.offset_v,
                    unit="V",
                    low=x.offset_low_v,
                    high=x.offset_high_v,
                )
            )
    return out


def _charge(
    flight: Flight, readings: Readings, aircraft: Aircraft, flown_s: float
) -> list[Measure]:
    out = []
    for c in flight.charge:
        used = c.integrated_mah if c.integrated_mah is not None else c.logged_mah
        values = {
            "used_mah": (used, "mAh"),
            "share": (c.share, ""),
            "start_v": (c.start_v, "V"),
            "end_v": (c.end_v, "V"),
        }
        if c.logged_mah is not None and c.integrated_mah is not None and c.integrated_mah > 0:
            values["counter_ratio"] = (c.logged_mah / c.integrated_mah, "")
        for name, (value, unit) in values.items():
            if value is None:
                continue
            low = high = None
            if name == "used_mah" and c.uncertain_mah is not None:
                low, high = value - 2 * c.uncertain_mah, value + 2 * c.uncertain_mah
            out.append(
                Measure(place=c.place, feature=name, value=value, unit=unit, low=low, high=high)
            )
    total = total_current(readings, aircraft)
    if total is not None and flown_s > 0:
        flying = [p for p in flight.phases if p.kind is PhaseKind.FLIGHT]
        v = np.concatenate([total.v[(total.t >= p.start_s) & (total.t < p.end_s)] for p in flying])
        if v.size:
            # 1 A for a minute is 1000 / 60 mAh.
            out.append(
                Measure(
                    place=aircraft.bus or TOTAL,
                    feature="mah_per_min",
                    value=float(v.mean()) * 1000.0 / 60.0,
                    unit="mAh/min",
                )
            )
    return out


def _falls(flight: Flight) -> tuple[EventCount, ...]:
    groups: dict[tuple[str, str], list[float]] = {}
    for e in flight.events:
        if e.kind in _FALLS and e.phase in _LOADED:
            groups.setdefault((e.place, str(e.origin)), []).append(e.depth_v or 0.0)
    return tuple(
        EventCount(place=place, origin=origin, count=len(depths), deepest_v=max(depths))
        for (place, origin), depths in groups.items()
    )


def _groups(flight: Flight) -> tuple[GroupDraw, ...]:
    return tuple(
        GroupDraw(
            place=s.place,
            drives=s.drives or "",
            outputs=s.outputs,
            value=s.travel_a_per_pct_s,
            low=s.low,
            high=s.high,
            separable=s.separable,
        )
        for s in flight.servos
        if s.travel_a_per_pct_s is not None and s.low is not None and s.high is not None
    )


def _temperature(readings: Readings) -> float | None:
    """The lowest temperature reported in the first seconds."""
    starts = [
        float(np.median(part.v))
        for r in readings.of(Quantity.TEMPERATURE)
        if (part := r.within(readings.start_s, readings.start_s + _START_S)).size
    ]
    return min(starts) if starts else None


def _blocks(
    currents: dict[str, Reading],
    volts: dict[str, Reading],
    windows: list[Window],
    block_s: float,
) -> Blocks | None:
    windows = [w for w in windows if w[1] - w[0] >= block_s]
    if not windows or not (currents or volts):
        return None

    def means(r: Reading) -> FloatArray:
        return np.concatenate([block_means(r.t, r.v, _edges(w, block_s)) for w in windows])

    return Blocks(
        block_s=block_s,
        amps={p: means(r) for p, r in currents.items()},
        volts={p: means(r) for p, r in volts.items()},
    )
