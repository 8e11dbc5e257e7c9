"""The rules: measures in, findings out, each with evidence, alternatives and what to do next.

A finding says what was seen and what else could have made it look so. The number of sags that
the load explains never raises a level; a single reading never grounds an aircraft by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from telemetry.aircraft import Aircraft
from telemetry.checks.leads.in_flight import lead_findings
from telemetry.checks.making import clock, make, worded
from telemetry.checks.ordering import worst_first
from telemetry.checks.packs.in_flight import pack_findings
from telemetry.checks.sensors.in_flight import balance, capacity, offsets
from telemetry.checks.supply.restarts import restart_findings
from telemetry.checks.supply.voltage import brownouts, falls, margins, undervoltage
from telemetry.model.unsettled import Unsettled
from telemetry.results import (
    ColumnUse,
    EventKind,
    Finding,
    Flight,
    Level,
    Origin,
    PhaseKind,
    Quality,
)

_LOADED = (PhaseKind.FLIGHT, PhaseKind.STIR, PhaseKind.REDUNDANCY_CHECK)
_FALLS = (EventKind.SAG, EventKind.SHIFT)
# So many falls that nothing can be laid to make a log too thin (ours).
_SEVERAL = 3


def find_all(
    *,
    aircraft: Aircraft,
    columns: tuple[ColumnUse, ...],
    quality: Quality,
    flights: tuple[Flight, ...],
    unsettled: tuple[Unsettled, ...] = (),
) -> tuple[Finding, ...]:
    """All findings of one log, gravest first; of several flights the worst first."""
    limits = aircraft.limits
    rules: tuple[Callable[[Flight], list[Finding]], ...] = (
        brownouts,
        lambda flight: margins(flight, limits),
        undervoltage,
        lambda flight: falls(flight, aircraft),
        lambda flight: [worded(r) for r in lead_findings(flight, aircraft)],
        lambda flight: _sources(flight, aircraft),
        lambda flight: [worded(r) for r in pack_findings(flight, aircraft)],
        lambda flight: _resting(flight, columns, aircraft),
        lambda flight: capacity(flight, columns),
        lambda flight: offsets(flight, aircraft),
    )
    out = restart_findings(quality, flights, aircraft)
    for rule in rules:
        out += worst_first(
            [_numbered(f, number) for f in rule(flight)] for number, flight in enumerate(flights, 1)
        )
    out += balance(quality, flights)
    out += _thin(columns, quality, flights, unsettled)
    return tuple(sorted(out, key=lambda f: -f.level.rank))


def _numbered(f: Finding, number: int) -> Finding:
    return replace(f, flight=number)


def _sources(flight: Flight, aircraft: Aircraft) -> list[Finding]:
    shared = {p.name for p in aircraft.packs if p.role == "shared"}
    known = [
        r
        for r in flight.resistances
        if r.kind == "source" and r.mohm is not None and r.place in shared
    ]
    if len(known) < 2:
        return []
    high = max(known, key=lambda r: r.mohm or 0.0)
    low = min(known, key=lambda r: r.mohm or 0.0)
    if (high.low_mohm or 0.0) > 1.5 * (low.high_mohm or 0.0) > 0.0:
        return [
            make(
                "source-resistance-high",
                Level.WATCH,
                high.place,
                f"{high.place}: {high.mohm:.0f} mOhm against {low.mohm:.0f} of {low.place}",
                {
                    "mohm": high.mohm,
                    "low_mohm": high.low_mohm,
                    "high_mohm": high.high_mohm,
                    "compared_with": low.place,
                    "compared_mohm": low.mohm,
                },
            )
        ]
    return []


def _resting(flight: Flight, columns: Iterable[ColumnUse], aircraft: Aircraft) -> list[Finding]:
    """A node whose current does not fall back after a stir while the others' do."""
    steps = {c.place: c.resolution or 0.0 for c in columns if c.quantity == "current" and c.place}
    out = []
    for stir in flight.stirs:
        nodes = [
            p
            for p in stir.places
            if aircraft.node(p.place) is not None
            and p.place != aircraft.root
            and p.rest_a is not None
            and p.after_a is not None
        ]
        raised = [
            p
            for p in nodes
            if (p.after_a or 0.0) - (p.rest_a or 0.0)
            > max(0.2, 0.5 * (p.rest_a or 0.0), 3.0 * steps.get(p.place, 0.0))
        ]
        # All nodes up together is the engine, the gear or the pilot's hand, not one servo.
        if len(raised) == 1 and len(nodes) > 1:
            p = raised[0]
            out.append(
                make(
                    "servo-not-resting",
                    Level.WATCH,
                    p.place,
                    f"{p.place}: {p.after_a:.2f} A after the stir at {clock(stir.start_s)}, "
                    f"{p.rest_a:.2f} A before",
                    {"rest_a": p.rest_a, "after_a": p.after_a, "time_s": stir.start_s},
                )
            )
    return out[:1]


def _thin(
    columns: tuple[ColumnUse, ...],
    quality: Quality,
    flights: tuple[Flight, ...],
    unsettled: tuple[Unsettled, ...],
) -> list[Finding]:
    """What the log cannot say; each reason once."""
    used = {c.quantity for c in columns if c.used}
    reasons: list[str] = []
    if "voltage" not in used:
        reasons.append("it has no voltage")
    if "current" not in used:
        reasons.append("it has no current, so no fall of voltage can be laid to load")
    loaded = [p for f in flights for p in f.phases if p.kind in _LOADED]
    if not loaded:
        reasons.append("neither a stir nor a flight was found in it, so nothing was under load")
    dip = quality.shortest_sure_dip_s
    if dip is not None and dip > 2.0:
        reasons.append(f"a dip shorter than {dip:.1f} s can pass unseen")
    span = sum(f.duration_s for f in flights)
    # Between two flights of one file nothing is lost.
    lost = sum(
        max(0.0, min(d.end_s, f.end_s) - max(d.start_s, f.start_s))
        for d in quality.dropouts
        for f in flights
        if d.place is None
    )
    if span > 0 and lost > 0.2 * span:
        reasons.append(f"telemetry was lost for {100 * lost / span:.0f} % of the time")
    unjudged = [
        e
        for f in flights
        for e in f.events
        if e.kind in _FALLS
        and e.origin is Origin.UNKNOWN
        and e.phase in _LOADED
        and (e.depth_v or 0.0) > 0.5
    ]
    if len(unjudged) >= _SEVERAL:
        reasons.append(
            f"{len(unjudged)} falls of voltage could not be laid to load or fault: "
            "the current is missing or reported too slowly"
        )
    reasons += [_unread(u) for u in unsettled]
    if not reasons:
        return []
    found = make(
        "log-too-thin",
        Level.UNKNOWN,
        None,
        "this log cannot tell everything: " + "; ".join(reasons),
        {"reasons": len(reasons)},
    )
    if not unsettled:
        return [found]
    lines = " ".join(u.set_line for u in unsettled)
    confirm = f"Say what these columns are: add {lines} to the command."
    if len(reasons) > len(unsettled):
        return [replace(found, confirm=f"{confirm} {found.confirm}")]
    return [replace(found, confirm=confirm, advice="Review this log again with its columns named.")]


def _unread(u: Unsettled) -> str:
    if u.beside:
        return (
            f"the current '{u.column}' has no voltage and the voltage '{u.beside}' no current: "
            "they may be of one place, whose lead was then not judged"
        )
    return f"the column '{u.column}' may be a voltage or a current and was not understood"
