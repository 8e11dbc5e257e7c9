"""Features of voltages, resistances and charge."""

from __future__ import annotations

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.log import FloatArray
from telemetry.readings import Reading, Readings, block_means, total_current
from telemetry.results import Flight, Phase, PhaseKind
from telemetry.trends.features.windows import (
    block_length,
    edges,
    full_stirs,
    ground_before,
    inner,
    rounding,
)
from telemetry.trends.measures import Measure

TOTAL = "total"
_LOWEST = (
    (PhaseKind.GROUND, "lowest_idle_v"),
    (PhaseKind.STIR, "lowest_stir_v"),
    (PhaseKind.FLIGHT, "lowest_flight_v"),
)


def voltage_features(r: Reading, phases: tuple[Phase, ...]) -> list[Measure]:
    """Lowest voltages of a place by phase, and its usual voltage on the ground."""
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


def rest_volts(
    volts: dict[str, Reading],
    currents: dict[str, Reading],
    loads: list[str],
    phases: tuple[Phase, ...],
) -> list[Measure]:
    """Mean voltage of each place over the same quiet moments on the ground before the flight."""
    windows = [inner(p) for p in ground_before(phases)]
    if not windows or not loads:
        return []
    used = (*volts.values(), *(currents[p] for p in loads))
    block_s = max(block_length(r) for r in used)

    def means(r: Reading) -> FloatArray:
        return np.concatenate([block_means(r.t, r.v, edges(w, block_s)) for w in windows])

    drawn = np.sum([means(currents[p]) for p in loads], axis=0)
    known = np.isfinite(drawn)
    if np.count_nonzero(known) < 4:
        return []
    quiet = known & (drawn <= np.median(drawn[known]))
    out = []
    for place, r in volts.items():
        x = means(r)[quiet]
        x = x[np.isfinite(x)]
        if x.size < 2:
            continue
        # Hardly anything moves at rest, so rounding does not average out; load only lowers.
        every = np.concatenate([r.within(*w).v for w in windows])
        scatter = float(x.std(ddof=1)) / np.sqrt(x.size)
        reach = 2.0 * float(
            np.hypot(scatter, rounding(-every[every >= np.median(every)], r.resolution or 0.0))
        )
        middle = float(x.mean())
        out.append(
            Measure(
                place=place,
                feature="rest_v",
                value=middle,
                unit="V",
                low=middle - reach,
                high=middle + reach,
            )
        )
    return out


def sags(flight: Flight) -> list[Measure]:
    """Fall of the mean voltage per amp from rest to stir, mean of the stirs before the flight."""
    rows: dict[str, list[float]] = {}
    for stir in full_stirs(flight):
        for p in stir.places:
            if p.sag_mohm is not None:
                rows.setdefault(p.place, []).append(p.sag_mohm)
    return [
        Measure(place=place, feature="stir_sag_mohm", value=float(np.mean(found)), unit="mOhm")
        for place, found in rows.items()
    ]


def resistances(flight: Flight, aircraft: Aircraft) -> list[Measure]:
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
        # With a resistance it is carried to no load; without one it holds what the lead takes.
        carried = x.mohm is not None and x.offset_v is not None
        if x.kind == "branch" and not of_pack and carried:
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


def held_charge(flight: Flight) -> list[Measure]:
    """Capacity of each pack that one kind of cells fits, with what is not known of its curve."""
    return [
        Measure(
            place=c.place,
            feature="capacity_mah",
            value=float(np.sqrt(c.low_mah * c.high_mah)),
            unit="mAh",
            low=c.low_mah,
            high=c.high_mah,
        )
        for c in flight.capacities
        if c.one_kind and c.low_mah is not None and c.high_mah is not None
    ]


def charge(flight: Flight, readings: Readings, aircraft: Aircraft, flown_s: float) -> list[Measure]:
    """Charge, share, voltage before and after; counter against current; charge per minute."""
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
            if name in ("used_mah", "counter_ratio") and c.uncertain_mah is not None and used:
                reach = 2.0 * value * c.uncertain_mah / used
                low, high = value - reach, value + reach
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
