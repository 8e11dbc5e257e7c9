"""The rules: measures in, findings out, each with evidence, alternatives and what to do next.

A finding says what was seen and what else could have made it look so. The number of sags that
the load explains never raises a level; a single reading never grounds an aircraft by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import NamedTuple

from telemetry.aircraft import Aircraft, Limits
from telemetry.channels import PlaceKind, Quantity, kind_of_place
from telemetry.power.charge_state import counter_mismatch
from telemetry.results import (
    ColumnUse,
    Event,
    EventKind,
    Evidence,
    Finding,
    Flight,
    Level,
    Margin,
    Origin,
    PhaseKind,
    Quality,
)
from telemetry.rules.leads import lead_findings
from telemetry.rules.packs import lost_in_flight, pack_findings
from telemetry.rules.raised import Raised

_LOADED = (PhaseKind.FLIGHT, PhaseKind.STIR, PhaseKind.REDUNDANCY_CHECK)
_FALLS = (EventKind.SAG, EventKind.SHIFT)
# This many unexplained falls at one place are no accident of sampling (ours).
_SEVERAL = 3
# Readings of one thing at two places lie no further apart than this (ours).
_WITHIN_S = 2.0


class Words(NamedTuple):
    """The standing text of a finding code."""

    explanations: tuple[str, ...]
    confirm: str
    advice: str


WORDS: dict[str, Words] = {
    "brownout": Words(
        (
            "the supply fell to the level at which electronics restart",
            "a connector, switch or lead opened for a moment",
            "a false reading, where no counter began again and no other unit saw it",
        ),
        "Load the bus on the bench with a known load and move every plug and switch in the path.",
        "Do not fly until the cause is found and put right.",
    ),
    "restart": Words(
        ("the pilot switched the system off and on", "the unit lost its supply for a moment"),
        "Ask whether the system was switched at that time.",
        "If nobody switched it, treat it as a brownout.",
    ),
    "margin-low": Words(
        (
            "the packs are weak, cold or nearly empty for this load",
            "resistance in the path: switch, leads, connectors",
            "the restart level in force is not that of your equipment",
        ),
        "Repeat the stir with full, warm packs and compare; set restart_v from the data sheets.",
        "Charge or change the packs, and shorten or thicken the path before the next flight.",
    ),
    "undervoltage": Words(
        ("the load at that moment", "a pack near its end", "a comfort level set too high"),
        "Compare with the data sheet of the servos; repeat the stir with full packs.",
        "Watch the lowest voltage of the next flight; set comfort_v in the profile.",
    ),
    "sag-unexplained": Words(
        (
            "a contact that opens for moments: plug, switch, broken strands",
            "a current peak that fell between two readings of the current sensor",
            "a false reading of the voltage sensor",
        ),
        "With the system on and a steady load, move that plug and lead and watch the voltage.",
        "Clean or replace that plug and lead, then repeat the stir before the next flight.",
    ),
    "lead-undersized": Words(
        (
            "the lead is thin or long for what hangs on it",
            "the plug has too few pins for what flows through it",
            "one of its servos draws more than it should",
        ),
        "Work it out with busbook budget; feel lead and plug for warmth after a long stir.",
        "Fit thicker wire, a shorter way or more pins before hard flying.",
    ),
    "branch-resistance-high": Words(
        (
            "a worn or dirty connector or broken strands in that lead",
            "a longer or thinner lead than its mirror",
            "a current sensor that reads low there",
        ),
        "Measure the drop from bus to node at a known load; swap the leads left for right.",
        "Clean or replace the connector of that lead before the next flight.",
    ),
    "source-resistance-high": Words(
        (
            "that pack has aged or is colder than the other",
            "resistance in that pack's plug, switch or lead",
        ),
        "Swap the packs: if the value moves with the pack it is the pack, else its path.",
        "Measure the pack's internal resistance warm, at a known charge.",
    ),
    "pack-share": Words(
        (
            "unequal charge, age or temperature of the two packs",
            "resistance in one pack's plug, switch or lead",
            "two regulators with set-points a little apart",
        ),
        "Compare rest voltages before the flight; swap the packs and repeat the stir.",
        "Charge both packs fully and compare the shares again.",
    ),
    "pack-out": Words(
        (
            "that pack, its plug, switch or lead opened",
            "that pack's protection switched it off",
            "its current sensor failed",
        ),
        "Switch the other pack off on the ground and see whether the bus stays up.",
        "Do not fly on one pack: find why the other gave nothing.",
    ),
    "pack-low": Words(
        ("the pack was not charged", "more flights were flown on it than it holds"),
        "Charge it and note how much goes in.",
        "Charge before the next flight.",
    ),
    "regulator-droop": Words(
        (
            "the regulator reached its current limit or grew too hot",
            "its input came too near to its output",
            "a switch or lead between pack and bus",
        ),
        "Load the bus on the bench at that current with full packs, and feel the regulator.",
        "Do not fly until the bus holds its voltage under that load.",
    ),
    "switch-step": Words(
        (
            "a switch, diode or plug between packs and bus changed its resistance",
            "the packs' currents are read by unlike sensors",
        ),
        "Move the switch and plugs under a steady load and watch the drop from pack to bus.",
        "Replace the switch or plug that shows it.",
    ),
    "servo-not-resting": Words(
        (
            "a servo that works against a stop or a stiff linkage",
            "a mixed trim that holds a surface out of neutral",
            "something else on that node was switched on",
        ),
        "Disconnect the linkages of that node one at a time and watch its current.",
        "Free the linkage or reset the end points before the next flight.",
    ),
    "current-balance": Words(
        ("a current sensor is off in gain or offset", "a node's current is counted twice"),
        "Compare total and nodes at a known load on the bench.",
        "Trust ratios between flights more than absolute currents until it is settled.",
    ),
    "capacity-mismatch": Words(
        (
            "a current sensor is off in gain or offset",
            "the log misses part of the time the counter saw",
            "peaks of the current between two readings",
        ),
        "Compare the charge that goes back in with both numbers.",
        "Plan flights by the larger of the two numbers until it is settled.",
    ),
    "sensor-offset": Words(
        ("the two voltage sensors differ", "a diode or switch lies between the two places"),
        "Compare both readings with one meter at no load.",
        "Nothing to repair; the offset is taken out of the resistances.",
    ),
    "log-too-thin": Words(
        (),
        "Log voltage and current of the bus and of every node, at the fastest rate on offer.",
        "Decide by inspection and by the stir: this log cannot help.",
    ),
}


def find_all(
    *,
    aircraft: Aircraft,
    columns: tuple[ColumnUse, ...],
    quality: Quality,
    flights: tuple[Flight, ...],
) -> tuple[Finding, ...]:
    """All findings of one log, gravest first."""
    limits = aircraft.limits
    out: list[Finding] = []
    for number, flight in enumerate(flights, 1):
        found = [
            *_brownouts(flight),
            *_margins(flight, limits),
            *_undervoltage(flight),
            *_falls(flight, aircraft),
            *(_worded(r) for r in lead_findings(flight, aircraft)),
            *_sources(flight, aircraft),
            *(_worded(r) for r in pack_findings(flight, aircraft)),
            *_resting(flight, columns),
            *_capacity(flight, columns),
            *_offsets(flight),
        ]
        out += [_numbered(f, number) for f in found]
    out += _restarts(quality, flights)
    out += _balance(quality, flights)
    out += _thin(columns, quality, flights)
    return tuple(sorted(out, key=lambda f: -f.level.rank))


def _make(
    code: str,
    level: Level,
    place: str | None,
    title: str,
    evidence: Mapping[str, float | int | str | None],
    *,
    event: Event | None = None,
    also: tuple[str, ...] = (),
) -> Finding:
    words = WORDS[code]
    return Finding(
        code=code,
        level=level,
        place=place,
        title=title,
        evidence=dict(evidence),
        explanations=(*also, *words.explanations),
        confirm=words.confirm,
        advice=words.advice,
        start_s=None if event is None else event.start_s,
        end_s=None if event is None else event.end_s,
    )


def _worded(raised: Raised) -> Finding:
    made = _make(
        raised.code, raised.level, raised.place, raised.title, raised.evidence, also=raised.also
    )
    return replace(made, start_s=raised.start_s, end_s=raised.end_s)


def _numbered(f: Finding, number: int) -> Finding:
    return replace(f, flight=number)


def _clock(seconds: float) -> str:
    minutes, rest = divmod(max(int(seconds), 0), 60)
    return f"{minutes:02d}:{rest:02d}"


def _brownouts(flight: Flight) -> list[Finding]:
    """One finding per place and evidence, however often it happened."""
    groups: dict[tuple[str, Evidence], list[Event]] = {}
    for e in flight.events:
        if e.kind is EventKind.BROWNOUT:
            groups.setdefault((e.place, e.evidence), []).append(e)
    return [_brownout(place, evidence, events) for (place, evidence), events in groups.items()]


def _brownout(place: str, evidence: Evidence, events: list[Event]) -> Finding:
    first = events[0]
    lasting = evidence is Evidence.UNKNOWN and any((e.updates or 0) > 1 for e in events)
    level = Level.GROUND if evidence is Evidence.REAL or lasting else Level.WATCH
    lows = [e.residual_v for e in events if e.residual_v is not None]
    low = f" (lowest reading {min(lows):.2f} V)" if lows else ""
    often = "" if len(events) == 1 else f"{len(events)} times, first "
    seen = {
        Evidence.REAL: "",
        Evidence.TELEMETRY: "; its counter ran on, so this may be telemetry alone",
        Evidence.UNKNOWN: "; nothing else in the log confirms or denies it",
    }[evidence]
    return _make(
        "brownout",
        level,
        place,
        f"{place}: supply lost {often}at {_clock(first.start_s)} "
        f"in {_words(first.phase)}{low}{seen}",
        {
            "times": len(events),
            "time_s": first.start_s,
            "lowest_v": min(lows) if lows else None,
            "evidence": str(evidence),
            "note": first.note,
        },
        event=first,
    )


def _words(phase: PhaseKind) -> str:
    return {
        PhaseKind.FLIGHT: "flight",
        PhaseKind.STIR: "a stir",
        PhaseKind.GROUND: "ground time",
        PhaseKind.REDUNDANCY_CHECK: "a redundancy check",
    }[phase]


def _margins(flight: Flight, limits: Limits) -> list[Finding]:
    out: list[Finding] = []
    known = [m for m in flight.margins if m.observed_v is not None]
    low = [m for m in known if (m.observed_v or 0.0) < limits.margin_watch_v]
    if low:
        out.append(_observed(min(low, key=lambda m: m.observed_v or 0.0), low, flight, limits))
    lost = [
        (m, c)
        for m in flight.margins
        for c in m.cases
        if c.case == "pack-lost" and c.voltage_v is not None
    ]
    if lost and not lost_in_flight(flight):  # with a pack gone already, the case has happened
        m, c = min(lost, key=lambda x: (x[1].voltage_v or 0.0) - x[0].restart_v)
        margin = (c.voltage_v or 0.0) - m.restart_v
        best = (c.high_v if c.high_v is not None else (c.voltage_v or 0.0)) - m.restart_v
        if margin < limits.margin_watch_v:
            out.append(
                _make(
                    "margin-low",
                    Level.GROUND if best < limits.margin_ground_v else Level.WATCH,
                    m.place,
                    f"{m.place}: with one pack lost, the highest current seen would leave "
                    f"{margin:.1f} V above the restart level",
                    {
                        "case": c.case,
                        "margin_v": margin,
                        "voltage_v": c.voltage_v,
                        "low_v": c.low_v,
                        "high_v": c.high_v,
                        "current_a": c.current_a,
                        "restart_v": m.restart_v,
                    },
                )
            )
    return out


def _observed(worst: Margin, low: list[Margin], flight: Flight, limits: Limits) -> Finding:
    deepest = [
        e
        for e in flight.events
        if e.place == worst.place
        and e.residual_v is not None
        and e.residual_v <= (worst.lowest_v or 0.0)
    ]
    event = deepest[0] if deepest else None
    single = event is not None and (event.updates or 0) <= 1 and event.origin is not Origin.LOAD
    grave = (worst.observed_v or 0.0) < limits.margin_ground_v and not single
    others = ", ".join(m.place for m in low if m is not worst)
    return _make(
        "margin-low",
        Level.GROUND if grave else Level.WATCH,
        worst.place,
        f"{worst.place}: lowest voltage {worst.lowest_v:.2f} V, "
        f"{worst.observed_v:.2f} V above the restart level",
        {
            "lowest_v": worst.lowest_v,
            "restart_v": worst.restart_v,
            "margin_v": worst.observed_v,
            "also_low": others or None,
        },
        event=event,
    )


def _undervoltage(flight: Flight) -> list[Finding]:
    found = [
        e
        for e in flight.events
        if e.kind is EventKind.UNDERVOLTAGE and e.phase in _LOADED and not _of_lost_pack(e, flight)
    ]
    if not found:
        return []
    worst = min(found, key=lambda e: e.residual_v or 0.0)
    places = ", ".join(dict.fromkeys(e.place for e in found))
    longest = max(found, key=lambda e: e.duration_s)
    return [
        _make(
            "undervoltage",
            Level.WATCH,
            worst.place,
            f"{worst.place}: {worst.residual_v:.2f} V, below the comfortable "
            f"{worst.reference_v:.1f} V ({len(found)} times, longest {longest.duration_s:.1f} s)",
            {
                "lowest_v": worst.residual_v,
                "level_v": worst.reference_v,
                "times": len(found),
                "longest_s": longest.duration_s,
                "places": places,
            },
            event=worst,
        )
    ]


def _falls(flight: Flight, aircraft: Aircraft) -> list[Finding]:
    """Falls of voltage that the load does not explain, one finding per place and origin."""
    groups: dict[tuple[str, Origin], list[Event]] = {}
    for e in flight.events:
        if _of_lost_pack(e, flight):
            continue
        if e.kind in _FALLS and e.origin in (Origin.CONTACT, Origin.SUPPLY, Origin.PACK):
            # What came from above is told once, of the place that feeds.
            above = None if e.origin is Origin.CONTACT else aircraft.parent(e.place)
            groups.setdefault((above or e.place, e.origin), []).append(e)
    return [_fall(place, origin, _apart(events)) for (place, origin), events in groups.items()]


def _apart(events: list[Event]) -> list[Event]:
    """The deepest of the events that several places saw at one time."""
    out: list[Event] = []
    for e in sorted(events, key=lambda e: e.start_s):
        if out and e.start_s < out[-1].end_s + 1.0:
            if (e.depth_v or 0.0) > (out[-1].depth_v or 0.0):
                out[-1] = e
        else:
            out.append(e)
    return out


def _of_lost_pack(e: Event, flight: Flight) -> bool:
    """Whether it is how a pack left, or what came of that: told by the finding on that pack."""
    return any(
        (e.place == o.place or e.origin is Origin.PACK)
        and e.start_s <= o.end_s
        and o.start_s <= e.end_s + _WITHIN_S
        for o in flight.pack_outs
    )


def _fall(place: str, origin: Origin, events: list[Event]) -> Finding:
    worst = max(events, key=lambda e: e.depth_v or 0.0)
    shifts = [e for e in events if e.kind is EventKind.SHIFT]
    seen = sum(e.updates or 0 for e in events)
    several = len(events) >= _SEVERAL or (bool(shifts) and seen > _SEVERAL)
    level = Level.GROUND if several else Level.WATCH
    evidence: dict[str, float | int | str | None] = {
        "times": len(events),
        "deepest_v": worst.depth_v,
        "lowest_v": worst.residual_v,
        "time_s": worst.start_s,
        "explained": worst.explained,
        "explained_by": worst.explained_by,
    }
    many = "once" if len(events) == 1 else f"{len(events)} times"
    what = f"fell {many} by up to {worst.depth_v:.2f} V (first at {_clock(events[0].start_s)})"
    if origin is Origin.SUPPLY:
        code = "switch-step" if shifts else "regulator-droop"
        return _make(
            code, level, place, f"{place} {what} while the packs held", evidence, event=worst
        )
    title = f"{place} {what}; the load does not explain it"
    return _make("sag-unexplained", level, place, title, evidence, event=worst)


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
            _make(
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


def _resting(flight: Flight, columns: Iterable[ColumnUse]) -> list[Finding]:
    """A node whose current does not fall back after a stir while the others' do."""
    steps = {c.place: c.resolution or 0.0 for c in columns if c.quantity == "current" and c.place}
    out = []
    for stir in flight.stirs:
        nodes = [
            p
            for p in stir.places
            if kind_of_place(p.place) in (PlaceKind.NODE, PlaceKind.RECEIVER)
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
                _make(
                    "servo-not-resting",
                    Level.WATCH,
                    p.place,
                    f"{p.place}: {p.after_a:.2f} A after the stir at {_clock(stir.start_s)}, "
                    f"{p.rest_a:.2f} A before",
                    {"rest_a": p.rest_a, "after_a": p.after_a, "time_s": stir.start_s},
                )
            )
    return out[:1]


def _capacity(flight: Flight, columns: Iterable[ColumnUse]) -> list[Finding]:
    """A unit's own counter against the current added up."""
    steps = {c.place: c.resolution or 0.0 for c in columns if c.quantity == Quantity.CONSUMED}
    out = []
    for c in flight.charge:
        if c.logged_mah is None or c.integrated_mah is None:
            continue
        uncertain = math.hypot(c.uncertain_mah or 0.0, steps.get(c.place, 0.0))
        held = counter_mismatch(c.logged_mah, c.integrated_mah, uncertain)
        if held is None or not held.differs:
            continue
        out.append(
            _make(
                "capacity-mismatch",
                Level.WATCH,
                c.place,
                f"{c.place}: counter {c.logged_mah:.0f} mAh, "
                f"current added up {c.integrated_mah:.0f} mAh",
                {
                    "logged_mah": c.logged_mah,
                    "integrated_mah": c.integrated_mah,
                    "ratio": held.ratio.value,
                    "low_ratio": held.ratio.low,
                    "high_ratio": held.ratio.high if math.isfinite(held.ratio.high) else None,
                },
            )
        )
    return out


def _offsets(flight: Flight) -> list[Finding]:
    out = []
    for r in flight.resistances:
        if r.kind != "branch" or r.offset_v is None or r.offset_low_v is None:
            continue
        if kind_of_place(r.place) is not PlaceKind.NODE:
            continue
        nearest = 0.0
        if r.offset_low_v > 0:
            nearest = r.offset_low_v
        elif r.offset_high_v is not None and r.offset_high_v < 0:
            nearest = -r.offset_high_v
        if nearest > 0.1:
            out.append(
                _make(
                    "sensor-offset",
                    Level.WATCH if nearest > 0.25 else Level.CLEAR,
                    r.place,
                    f"{r.place} reads {abs(r.offset_v):.2f} V "
                    f"{'below' if r.offset_v > 0 else 'above'} {r.parent} at no load",
                    {"offset_v": r.offset_v, "low_v": r.offset_low_v, "high_v": r.offset_high_v},
                )
            )
    return out


def _restarts(quality: Quality, flights: tuple[Flight, ...]) -> list[Finding]:
    """Restarts on the ground: the pilot's power cycle, unless the voltage was low before."""
    told = [e for f in flights for e in f.events if e.kind is EventKind.BROWNOUT]
    ground = [r for r in quality.restarts if not any(abs(r.time_s - e.end_s) < 20.0 for e in told)]
    if not ground:
        return []
    first = ground[0]
    return [
        _make(
            "restart",
            Level.CLEAR,
            first.place,
            f"{len(ground)} restart{'s' if len(ground) > 1 else ''} on the ground, "
            f"first at {_clock(first.time_s)}",
            {"times": len(ground), "time_s": first.time_s, "column": first.column},
        )
    ]


def _balance(quality: Quality, flights: tuple[Flight, ...]) -> list[Finding]:
    if quality.balance_a is None:
        return []
    stirred = [p.mean_a for f in flights for s in f.stirs for p in s.places if p.mean_a is not None]
    scale = max(stirred, default=3.0)
    if quality.balance_a < -max(0.15, 0.04 * scale):
        return [
            _make(
                "current-balance",
                Level.WATCH,
                None,
                f"the nodes together draw {-quality.balance_a:.2f} A more than the total",
                {"balance_a": quality.balance_a, "spread_a": quality.balance_spread_a},
            )
        ]
    return []


def _thin(
    columns: tuple[ColumnUse, ...], quality: Quality, flights: tuple[Flight, ...]
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
    lost = sum(d.duration_s for d in quality.dropouts if d.place is None)
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
    if not reasons:
        return []
    return [
        _make(
            "log-too-thin",
            Level.UNKNOWN,
            None,
            "this log cannot tell everything: " + "; ".join(reasons),
            {"reasons": len(reasons)},
        )
    ]
