"""Features of one flight, place by place, from its review and the readings of its log."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.model.log import FloatArray
from telemetry.readings import Reading, Readings, block_means, total_current
from telemetry.results import (
    FALLS,
    WORKING_PHASES,
    EventKind,
    Evidence,
    Flight,
    Origin,
    PhaseKind,
    Review,
    ServoShare,
)
from telemetry.trends.features.contacts import drop_tails
from telemetry.trends.features.currents import current_features
from telemetry.trends.features.pauses import silences
from telemetry.trends.features.voltages import (
    TOTAL,
    charge,
    held_charge,
    resistances,
    rest_volts,
    sags,
    voltage_features,
)
from telemetry.trends.features.windows import (
    AIR_BLOCKS,
    LEAST_AIR_S,
    SHORT_S,
    Window,
    block_length,
    edges,
    full_stirs,
    inner,
)
from telemetry.trends.measures import Blocks, EventCount, GroupDraw, Measure, Measures
from telemetry.trends.ratios import compared

_START_S = 20.0
#: Origin of falls of a bus that its load surely does not make, where no pack is logged.
UNLOADED = "unloaded"
# Origins of falls that are nobody's fault.
_EXPLAINED = (Origin.LOAD, Origin.SENSOR)


def measure_flight(review: Review, number: int = 1) -> Measures:
    """The features of one flight of a review.

    Parameters
    ----------
    review : Review
    number : int
        Which of its flights, from 1.

    Returns
    -------
    Measures
        Without what the review found.
    """
    flight = review.flights[number - 1]
    aircraft = review.aircraft
    readings = review.readings.within(flight.start_s, flight.end_s)
    currents = place_currents(readings, aircraft)
    loads = [p for p in currents if p in load_places(aircraft, tuple(currents))]
    updates = [u for p in loads if (u := currents[p].update_s) is not None]
    volts = {r.place: r for r in readings.of(Quantity.VOLTAGE) if r.size}
    block_s = max((block_length(currents[p]) for p in loads), default=SHORT_S)
    stirs = [inner(s) for s in full_stirs(flight)]
    air = [(p.start_s, p.end_s) for p in flight.phases if p.kind is PhaseKind.FLIGHT]
    flown_s = sum(b - a for a, b in air)
    air_block_s = max(LEAST_AIR_S, flown_s / AIR_BLOCKS)
    found: list[Measure] = []
    for place, r in currents.items():
        found += current_features(place, r, flight, air)
    for r in volts.values():
        found += voltage_features(r, flight.phases)
    found += rest_volts(volts, currents, loads, flight.phases)
    found += sags(flight)
    found += drop_tails(readings, aircraft, flight.phases, flight.events)
    found += silences(review.log, readings, aircraft, air)
    found += resistances(flight, aircraft)
    found += charge(flight, readings, aircraft, flown_s)
    found += held_charge(flight)
    counts = counted_falls(flight)
    for place in dict.fromkeys(c.place for c in counts):
        total = sum(c.count for c in counts if c.place == place)
        found.append(Measure(place=place, feature="falls", value=float(total), unit=""))
    for place in volts:
        own = [c.count for c in counts if c.place == place and c.origin not in _EXPLAINED]
        found.append(
            Measure(place=place, feature="falls_unexplained", value=float(sum(own)), unit="")
        )
    rhythm = [s.rhythm_hz for s in flight.stirs if s.rhythm_hz is not None]
    if rhythm:
        found.append(Measure(place="sticks", feature="stir_rhythm_hz", value=rhythm[0], unit="Hz"))
    made = Measures(
        kind=flight.kind,
        start=review.log.provenance.start,
        file=review.log.provenance.file,
        duration_s=flight.duration_s,
        flight_s=flown_s,
        update_s=float(np.median(updates)) if updates else None,
        temperature_c=start_temperature(readings),
        features=tuple(found),
        stir=block_series(currents, volts, stirs, block_s),
        air=block_series(currents, volts, air, air_block_s),
        groups=group_draws(flight),
        events=counts,
        steps_a={p: r.resolution for p, r in currents.items() if r.resolution is not None},
        servos={n.name: n.servos for n in aircraft.nodes if n.servos is not None},
        labels={p.name: p.label for p in aircraft.packs if p.label is not None},
        packs=review.log.provenance.packs,
    )
    return replace(made, features=(*made.features, *compared(made, loads, aircraft)))


def load_places(aircraft: Aircraft, places: tuple[str, ...]) -> tuple[str, ...]:
    """The places whose own current drives servos: nodes and receivers, else the whole."""
    own = node_places(aircraft, places)
    if own:
        return own
    whole = [p for p in places if aircraft.kind(p) is PlaceKind.BUS]
    whole += [p for p in places if p == TOTAL]
    return tuple(whole[:1] or (places if len(places) == 1 else ()))


def node_places(aircraft: Aircraft, places: tuple[str, ...]) -> tuple[str, ...]:
    """Those of some places that are nodes or receivers."""
    return tuple(p for p in places if aircraft.kind(p) in (PlaceKind.NODE, PlaceKind.RECEIVER))


def place_currents(readings: Readings, aircraft: Aircraft) -> dict[str, Reading]:
    """Current of each place; of the whole as "total" where only the sum of the packs tells it."""
    out = {r.place: r for r in readings.of(Quantity.CURRENT) if r.size}
    total = total_current(readings, aircraft)
    if total is not None and total.is_sum and out:
        like = next(iter(out.values()))
        out[TOTAL] = Reading(
            channel=like.channel,
            t=total.t,
            v=total.v,
            update_s=total.update_s,
            resolution=like.resolution,
        )
    return out


def counted_falls(flight: Flight) -> tuple[EventCount, ...]:
    """Falls under load, counted by place and origin, each with the deepest, V."""
    groups: dict[tuple[str, str], list[float]] = {}
    for e in flight.events:
        if e.kind in FALLS and e.phase in WORKING_PHASES:
            origin = UNLOADED if e.unloaded else str(e.origin)
            groups.setdefault((e.place, origin), []).append(e.depth_v or 0.0)
        elif e.kind is EventKind.BROWNOUT and e.evidence is not Evidence.TELEMETRY:
            groups.setdefault((e.place, "brownout"), []).append(e.depth_v or 0.0)
    return tuple(
        EventCount(place=place, origin=origin, count=len(depths), deepest_v=max(depths))
        for (place, origin), depths in groups.items()
    )


def group_draws(flight: Flight) -> tuple[GroupDraw, ...]:
    """What each group of servos draws, moving and held, as its attribution has it."""
    return tuple(
        GroupDraw(
            place=s.place,
            controls=s.controls,
            outputs=s.outputs,
            value=value,
            low=low,
            high=high,
            separable=s.separable,
            basis=basis,
        )
        for s in flight.servos
        if s.controls
        for basis, (value, low, high) in _draws(s).items()
    )


def _draws(s: ServoShare) -> dict[str, tuple[float, float, float]]:
    """What was told of a group on each basis, with its range by chance."""
    out = {}
    if s.travel_a_per_pct_s is not None and s.chance is not None:
        value, reach = s.travel_a_per_pct_s, s.travel_a_per_pct_s * s.chance
        out["flight"] = (value, value - reach, value + reach)
    if s.ground_a_per_pct_s is not None:
        out["ground"] = s.ground_a_per_pct_s
    if s.moving_a is not None and s.moving_low_a is not None and s.moving_high_a is not None:
        out["check"] = (s.moving_a, s.moving_low_a, s.moving_high_a)
    return out


def start_temperature(readings: Readings) -> float | None:
    """The lowest temperature reported in the first seconds."""
    starts = [
        float(np.median(part.v))
        for r in readings.of(Quantity.TEMPERATURE)
        if (part := r.within(readings.start_s, readings.start_s + _START_S)).size
    ]
    return min(starts) if starts else None


def block_series(
    currents: dict[str, Reading],
    volts: dict[str, Reading],
    windows: list[Window],
    block_s: float,
) -> Blocks | None:
    """Means over blocks, A and V, of the windows long enough; None without any."""
    windows = [w for w in windows if w[1] - w[0] >= block_s]
    if not windows or not (currents or volts):
        return None

    def means(r: Reading) -> FloatArray:
        return np.concatenate([block_means(r.t, r.v, edges(w, block_s)) for w in windows])

    return Blocks(
        block_s=block_s,
        amps={p: means(r) for p, r in currents.items()},
        volts={p: means(r) for p, r in volts.items()},
    )
