"""Rules on the voltage: supply lost, margin to the restart level, low supply, unexplained falls.

The number of sags that the load explains never raises a level.
"""

from __future__ import annotations

from dataclasses import replace

from telemetry.aircraft import Aircraft, Limits
from telemetry.checks.making import clock, make
from telemetry.checks.packs.in_flight import lost_in_flight
from telemetry.checks.words import PACK_UNDER
from telemetry.model.channels import PlaceKind, kind_of_place
from telemetry.results import (
    Event,
    EventKind,
    Evidence,
    Finding,
    Flight,
    Level,
    LowSupply,
    Margin,
    Origin,
    PhaseKind,
)

_FALLS = (EventKind.SAG, EventKind.SHIFT)
# This many unexplained falls at one place are no accident of sampling (ours).
_SEVERAL = 3
# A low supply grounds where it was deep for as long as a fall takes to count as a level, or short
# of its level by this part all through the time under load (ours).
_LONG_S = 10.0
_SHORT, _MINUTE_S = 0.03, 60.0
# Readings of one thing at two places lie no further apart than this (ours).
_WITHIN_S = 2.0


def brownouts(flight: Flight) -> list[Finding]:
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
    return make(
        "brownout",
        level,
        place,
        f"{place}: supply lost {often}at {clock(first.start_s)} "
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


def margins(flight: Flight, limits: Limits) -> list[Finding]:
    """Places near the restart level: as observed, and with one pack lost."""
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
                make(
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
    return make(
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


def undervoltage(flight: Flight) -> list[Finding]:
    """Supply too low under load: one finding of the worst place, and one of each pack."""
    supply = [x for x in flight.low if not x.is_floor]
    told = [_low(max(supply, key=_how_low), supply)] if supply else []
    return told + [_low(x, [x]) for x in flight.low if x.is_floor]


def _how_low(x: LowSupply) -> tuple[Level, float]:
    return _low_level(x), x.level_v - x.lowest_v


def _low_level(x: LowSupply) -> Level:
    """Ground where it was deep for long, or low throughout; a few readings ground nobody."""
    deep = x.deep_s >= _LONG_S and x.deep_readings >= _SEVERAL
    throughout = x.below_s >= _MINUTE_S and x.short_v >= _SHORT * x.level_v
    return Level.GROUND if deep or throughout else Level.WATCH


def _low(x: LowSupply, places: list[LowSupply]) -> Finding:
    than = f"{x.level_v:.2f} V of its floor" if x.is_floor else f"comfortable {x.level_v:.1f} V"
    long = f"for {_seconds(x.below_s)} of {_seconds(x.loaded_s)}" if x.below_s else "for moments"
    made = make(
        "undervoltage",
        _low_level(x),
        x.place,
        f"{x.place}: {x.lowest_v:.2f} V under load, below the {than} {long}",
        {
            "lowest_v": x.lowest_v,
            "level_v": x.level_v,
            "time_s": x.lowest_s,
            "below_s": x.below_s,
            "loaded_s": x.loaded_s,
            "times": x.times,
            "longest_s": x.longest_s,
            "short_v": x.short_v,
            "deep_v": x.deep_v,
            "deep_s": x.deep_s,
            "places": ", ".join(p.place for p in places),
        },
        words=PACK_UNDER if x.is_floor else None,
    )
    return replace(made, start_s=x.lowest_s, end_s=x.lowest_s)


def _seconds(s: float) -> str:
    return f"{s:.1f} s" if s < 10.0 else f"{s:.0f} s"


def falls(flight: Flight, aircraft: Aircraft) -> list[Finding]:
    """Falls of voltage that the load does not explain, one finding per place and origin."""
    groups: dict[tuple[str, Origin], list[Event]] = {}
    lost = [e for e in flight.events if e.kind is EventKind.BROWNOUT]
    for e in flight.events:
        if _of_lost_pack(e, flight) or any(_of_brownout(e, b, aircraft) for b in lost):
            continue
        if e.kind in _FALLS and e.origin in (Origin.CONTACT, Origin.SUPPLY, Origin.PACK):
            # What came from above is told once, of the place that feeds.
            above = None if e.origin is Origin.CONTACT else aircraft.parent(e.place)
            groups.setdefault((above or e.place, e.origin), []).append(e)
    told = {key: _seen_there(key[0], events, flight) for key, events in groups.items()}
    return [
        _fall(place, origin, _apart(events)) for (place, origin), events in told.items() if events
    ]


def _seen_there(place: str, events: list[Event], flight: Flight) -> list[Event]:
    """Those of the falls seen elsewhere that may be told of the place that feeds.

    Where it fell itself, what is known of that fall decides. Where its voltage is read and did
    not fall, only their number: a few may have slipped between two of its readings.
    """
    own = [e for e in flight.events if e.place == place and e.kind in _FALLS]
    if not any(m.place == place and m.lowest_v is not None for m in flight.margins):
        return events
    sure, open_ = [], []
    for e in events:
        near = [
            o for o in own if o.start_s <= e.end_s + _WITHIN_S and e.start_s <= o.end_s + _WITHIN_S
        ]
        if any(o.origin is e.origin for o in near):
            sure.append(e)
        elif not near:
            open_.append(e)
    return [*sure, *open_] if sure or len(_apart(open_)) >= _SEVERAL else []


def _of_brownout(e: Event, lost: Event, aircraft: Aircraft) -> bool:
    """Whether it is a supply lost at the place or above it, which a finding of its own tells."""
    return (
        bool(aircraft.way_up(e.place, lost.place))
        and e.start_s <= lost.end_s + _WITHIN_S
        and lost.start_s <= e.end_s + _WITHIN_S
    )


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
    """Whether it is how a pack left, or what came of that: told by the finding on that pack.

    A pack switched off to check the other one is no fall at all.
    """
    if e.phase is PhaseKind.REDUNDANCY_CHECK and kind_of_place(e.place) is PlaceKind.PACK:
        return True
    return any(
        (e.place == o.place or e.origin in (Origin.PACK, Origin.SUPPLY))
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
    first = clock(events[0].start_s)
    what = f"fell by {worst.depth_v:.2f} V at {first}"
    if len(events) > 1:
        what = f"fell {len(events)} times by up to {worst.depth_v:.2f} V (first at {first})"
    if origin is Origin.SUPPLY:
        code = "switch-step" if shifts else "regulator-droop"
        return make(
            code, level, place, f"{place} {what} while the packs held", evidence, event=worst
        )
    title = f"{place} {what}; the load does not explain it"
    return make("sag-unexplained", level, place, title, evidence, event=worst)
