"""Leads: more resistance than expected or than the mirror's, and too little copper."""

from __future__ import annotations

from telemetry.aircraft import Aircraft, Limits
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.facts import FlightFacts
from telemetry.checks.leads.in_stretches import is_changed
from telemetry.checks.needs import Needs, Refusal, nodes, told_already, without_resistance
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.results import (
    DropRatio,
    Flight,
    Level,
    NotJudged,
    PartLoad,
    PlaceLoad,
    Resistance,
)

# A sound lead that takes more than this part of the supply at the highest current is too thin or
# too long for it (heuristic: half a volt of 6.6 V).
_DROP_PCT = 8.0
# A lead of unknown make with so many mOhm that takes this part of the supply at the highest current
# is bad, or too thin and long (heuristic: by the wire table 1.5 m of AWG 20 and its plugs have some
# 120 mOhm, the 2 m of AWG 18 to a tail some 90; a panel lead of a large model 20 to 70).
_NO_SOUND_LEAD = ((120.0, 0.03), (90.0, 0.15))
# Drops of two mirrors without currents of their own: factor, what it surely is, and V at the
# highest current (heuristic: sound leads and equal servos together differ by half at the most,
# surely by a fourth); with currents of their own what it surely is (sound ones: a tenth), and V.
_RATIO, _SURELY, _RATIO_V, _OWN_SURELY, _OWN_V = 1.7, 1.4, 0.04, 1.2, 0.03
# Leads of two sides are alike if the wire table expects the same of both within this part
# (heuristic).
_ALIKE = 0.15


def lead_findings(facts: FlightFacts) -> list[FindingDraft]:
    """What the leads of one flight show: bad contacts first, then too little copper."""
    flight, aircraft = facts.flight, facts.aircraft
    told = {c.place for c in flight.lead_changes if is_changed(c, facts)}
    known = [
        r
        for r in flight.resistances
        if r.kind == "branch" and r.mohm is not None and r.place not in told
    ]
    high = {
        draft.place: draft
        for r in known
        if (draft := _high(r, known, aircraft) or _absolute(r, flight, aircraft)) is not None
    }
    unlike = [d for d in flight.drop_ratios if d.place not in told]
    unlike = [d for d in unlike if _more_than_alike(d, flight, aircraft.limits)]
    high |= {d.place: _beside_mirror(d) for d in unlike if d.place not in high}
    thin = [
        draft
        for r in known
        if _whose(r, aircraft) not in high and (draft := _thin(r, flight, aircraft)) is not None
    ]
    return [*high.values(), *thin, *_overloaded(flight, {r.place for r in thin})]


def _whose(r: Resistance, aircraft: Aircraft) -> str:
    """The part whose lead it is: a node's own, but the pack's on the way from it to the bus."""
    of_pack = r.parent is not None and aircraft.kind(r.parent) is PlaceKind.PACK
    return r.parent if r.parent is not None and of_pack else r.place


def _high(r: Resistance, known: list[Resistance], aircraft: Aircraft) -> FindingDraft | None:
    limits, whose = aircraft.limits, _whose(r, aircraft)
    low = r.low_mohm if r.low_mohm is not None else (r.mohm or 0.0)
    if r.expected_mohm is not None:
        over = low - r.expected_mohm
        factor = low / r.expected_mohm if r.expected_mohm > 0 else 0.0
        sure = low > (r.expected_high_mohm or r.expected_mohm)
        if (
            sure
            and over > limits.branch_over_expected_mohm
            and factor > limits.branch_over_expected
        ):
            return _branch(r, whose, "the wire table", r.expected_mohm)
    mirror = _mirrored(r, known, aircraft)
    if mirror is None:
        return None
    most = _most(mirror)
    if low - most > limits.branch_watch_mohm and low > limits.branch_over_expected * most:
        return _branch(r, whose, f"its mirror, {mirror.place}", mirror.mohm or 0.0)
    return None


def _absolute(r: Resistance, flight: Flight, aircraft: Aircraft) -> FindingDraft | None:
    """A lead that nothing says the length and gauge of, and that takes much all the same."""
    whose, load, supply_v = r.place, _load(r, flight), _supply_v(flight, aircraft)
    if r.expected_mohm is not None or r.place == aircraft.root or _whose(r, aircraft) != whose:
        return None
    if load is None or load.peak_a is None or supply_v is None:
        return None
    least = r.low_mohm if r.low_mohm is not None else (r.mohm or 0.0)
    part = least * load.peak_a / 1000 / supply_v
    if not any(least >= mohm and part >= lost for mohm, lost in _NO_SOUND_LEAD):
        return None
    drop_v = (r.mohm or 0.0) * load.peak_a / 1000
    return FindingDraft(
        code="branch-resistance-high",
        level=Level.WATCH,
        place=whose,
        title=f"{r.place}: {r.mohm:.0f} mOhm from {r.parent} ({r.low_mohm:.0f} to "
        f"{r.high_mohm:.0f}), which takes {drop_v:.1f} V at {load.peak_a:.1f} A, "
        f"{100 * drop_v / supply_v:.0f} % of the supply",
        evidence={
            "mohm": r.mohm,
            "low_mohm": r.low_mohm,
            "high_mohm": r.high_mohm,
            "drop_v": drop_v,
            "drop_pct": 100 * drop_v / supply_v,
            "peak_a": load.peak_a,
        },
        further=(
            Possible(
                CauseKind.LONGER_LEAD, "a lead that is too thin or too long for what hangs on it"
            ),
        ),
    )


def _more_than_alike(d: DropRatio, flight: Flight, limits: Limits) -> bool:
    """Whether two leads differ by more than sound ones, and servos where they count, do."""
    if not d.own:
        return d.ratio >= _RATIO and d.low_ratio >= _SURELY and d.more_v >= _RATIO_V
    leads = [r for p in (d.place, d.mirror) for r in flight.resistances if r.place == p]
    if len(leads) == 2 and not _alike(*leads):
        return False
    # Large is what it most likely is, sure that it is more than of sound ones.
    over = d.low_more_mohm > limits.branch_watch_mohm and d.low_ratio >= _OWN_SURELY
    return over and d.ratio > limits.branch_over_expected and d.more_v >= _OWN_V


def _beside_mirror(d: DropRatio) -> FindingDraft:
    if d.own:
        return FindingDraft(
            code="branch-resistance-high",
            level=Level.WATCH,
            place=d.place,
            title=f"{d.place}: {d.mohm:.0f} mOhm from {d.parent}, {d.ratio:.1f} times that of its "
            f"mirror, {d.mirror}",
            evidence={
                "mohm": d.mohm,
                "ratio": d.ratio,
                "error": d.error,
                "compared_with": f"its mirror, {d.mirror}",
                "compared_mohm": d.mirror_mohm,
                "more_v": d.more_v,
            },
        )
    return FindingDraft(
        code="branch-resistance-high",
        level=Level.WATCH,
        place=d.place,
        title=f"{d.place}: drops {d.ratio:.1f} times as much from {d.parent} as its mirror, "
        f"{d.mirror}, at the same current of the whole",
        evidence={
            "ratio": d.ratio,
            "error": d.error,
            "apparent_mohm": d.mohm,
            "compared_with": f"its mirror, {d.mirror}",
            "compared_mohm": d.mirror_mohm,
            "more_v": d.more_v,
        },
        further=(
            Possible(
                CauseKind.WORN_SERVO,
                "servos on the side of {place} that draw more: its own current is not logged",
            ),
        ),
    )


def _load(r: Resistance, flight: Flight) -> PlaceLoad | None:
    return next((x for x in flight.loads if x.place == r.place), None)


def _supply_v(flight: Flight, aircraft: Aircraft) -> float | None:
    return next((x.landing_v for x in flight.loads if x.place == aircraft.root), None)


def _mirrored(r: Resistance, known: list[Resistance], aircraft: Aircraft) -> Resistance | None:
    """The same of the like place on the other side, where nothing says that its lead is unlike."""
    found = (m for m in known if m.place == aircraft.mirror(r.place) and m.parent == r.parent)
    mirror = next(found, None)
    return mirror if mirror is not None and _alike(r, mirror) else None


def _alike(a: Resistance, b: Resistance) -> bool:
    """Whether the profile says nothing against equal leads."""
    if a.expected_mohm is None or b.expected_mohm is None:
        return True
    return abs(a.expected_mohm - b.expected_mohm) <= _ALIKE * max(a.expected_mohm, b.expected_mohm)


def _branch(r: Resistance, whose: str, against: str, value: float) -> FindingDraft:
    return FindingDraft(
        code="branch-resistance-high",
        level=Level.WATCH,
        place=whose,
        title=f"{r.place}: {r.mohm:.0f} mOhm from {r.parent} "
        f"({r.low_mohm:.0f} to {r.high_mohm:.0f}), against {value:.0f} of {against}",
        evidence={
            "mohm": r.mohm,
            "low_mohm": r.low_mohm,
            "high_mohm": r.high_mohm,
            "compared_with": against,
            "compared_mohm": value,
            "expected_mohm": r.expected_mohm,
            "low_expected_mohm": r.expected_low_mohm,
            "high_expected_mohm": r.expected_high_mohm,
        },
    )


def _thin(r: Resistance, flight: Flight, aircraft: Aircraft) -> FindingDraft | None:
    """A lead that measures what it should, and takes much of the supply nevertheless."""
    load, supply_v = _load(r, flight), _supply_v(flight, aircraft)
    if r.expected_mohm is None or load is None or load.peak_a is None or supply_v is None:
        return None
    if r.place == aircraft.root:
        return None  # on the way from pack to bus more than a lead lies
    drop_v = (r.mohm or 0.0) * load.peak_a / 1000
    least_v = (r.low_mohm or 0.0) * load.peak_a / 1000
    if least_v <= _DROP_PCT / 100 * supply_v:
        return None
    return FindingDraft(
        code="lead-undersized",
        level=Level.WATCH,
        place=r.place,
        title=f"{r.place}: its lead takes {drop_v:.1f} V at the highest current, "
        f"{100 * drop_v / supply_v:.0f} % of the supply, and measures what the wire table expects",
        evidence={
            "drop_v": drop_v,
            "drop_pct": 100 * drop_v / supply_v,
            "peak_a": load.peak_a,
            "mohm": r.mohm,
            "low_mohm": r.low_mohm,
            "high_mohm": r.high_mohm,
            "expected_mohm": r.expected_mohm,
            "low_expected_mohm": r.expected_low_mohm,
            "high_expected_mohm": r.expected_high_mohm,
        },
    )


_DEFAULT_LIMIT = Possible(
    CauseKind.LEVEL_IN_FORCE, "the default limit is not that of your wire or connector"
)


def _overloaded(flight: Flight, reported: set[str | None]) -> list[FindingDraft]:
    """Parts that carry more than their continuous limit; of each place the worst."""
    worst: dict[str, PartLoad] = {}
    for part in flight.parts:
        if part.over and part.place not in reported:
            held = worst.get(part.place)
            if held is None or part.usual_ratio > held.usual_ratio:
                worst[part.place] = part
    return [
        FindingDraft(
            code="lead-undersized",
            level=Level.WATCH,
            place=p.place,
            title=f"{p.place}: {p.usual_a:.1f} A for a minute through {p.part} ({p.what}), "
            f"which may carry {p.limit_a:.1f} A",
            evidence={
                "usual_a": p.usual_a,
                "limit_a": p.limit_a,
                "limit_from": p.limit_from,
                "part": p.part,
                "worst_a": p.worst_a,
            },
            likelier=(_DEFAULT_LIMIT,) if p.limit_from == "default" else (),
        )
        for p in worst.values()
    ]


def _most(r: Resistance) -> float:
    return r.high_mohm if r.high_mohm is not None else (r.mohm or 0.0)


def _branch_of(facts: FlightFacts, place: str | None) -> Resistance | Refusal:
    found = (r for r in facts.flight.resistances if r.place == place and r.kind == "branch")
    own = next(found, None)
    if own is None or own.mohm is None:
        return without_resistance(facts, own, place or "")
    return own


def _sees_high(facts: FlightFacts, place: str | None) -> str | Refusal:
    """The least resistance that would have been told: what is doubtful of it comes on top."""
    own = _branch_of(facts, place)
    if isinstance(own, Refusal):
        return own
    limits = facts.limits
    known = [r for r in facts.flight.resistances if r.kind == "branch" and r.mohm is not None]
    held: list[float] = []
    if own.expected_mohm is not None:
        over = own.expected_mohm + limits.branch_over_expected_mohm
        times = own.expected_mohm * limits.branch_over_expected
        held.append(max(over, times, own.expected_high_mohm or 0.0))
    mirror = _mirrored(own, known, facts.aircraft)
    if mirror is not None:
        over = _most(mirror) + limits.branch_watch_mohm
        held.append(max(over, _most(mirror) * limits.branch_over_expected))
    if own.expected_mohm is None:
        held.append(_NO_SOUND_LEAD[0][0])
    least = min(held) + (own.mohm or 0.0) - (own.low_mohm or 0.0)
    return f"{least:.0f} mOhm or more from {own.parent}"


def _sees_thin(facts: FlightFacts, place: str | None) -> str | Refusal:
    own = _branch_of(facts, place)
    if isinstance(own, Refusal):
        return own
    if own.expected_mohm is None:
        why = "the lead's length and gauge are not known"
        what = "say its lead in the aircraft's profile"
        return Refusal(NotJudged.NO_LEVEL, why, what, ("--awg N", "--length M"))
    if _high(own, [own], facts.aircraft) is not None:
        return told_already("the resistance of that lead")
    return f"{_DROP_PCT:.0f} % of the supply lost in the lead at the highest current"


BRANCH_RESISTANCE_HIGH = Check(
    code="branch-resistance-high",
    part=CheckPart.LEADS,
    question="Does a lead or contact drop more volts per ampere than its copper or its mirror?",
    meaning="A lead or connector drops more voltage per ampere than its mirror, than the wire "
    "table, or than before.",
    bench="measure the drop at a known load; swap left for right.",
    words=Words(
        (
            "a worn or dirty connector or broken strands in the lead of {place}",
            "a longer or thinner lead than its mirror",
            "a current sensor that reads low there",
        ),
        "Measure the drop along the lead of {place} at a known load; swap the leads "
        "left for right.",
        "Clean or replace the connector of {place} before the next flight.",
        kinds=(
            CauseKind.CONTACT,
            CauseKind.LONGER_LEAD,
            CauseKind.CURRENT_SENSOR,
        ),
    ),
    in_flight=(lead_findings,),
    needs=Needs(
        at=nodes,
        own=(Quantity.VOLTAGE, Quantity.CURRENT),
        parent_voltage=True,
        essential="logged",
    ),
    sees=_sees_high,
    proof="path",
    worst_by="mohm",
    worst_step=8.0,
    same_matter=("branch-resistance-rising", "source-resistance-rising"),
)

LEAD_UNDERSIZED = Check(
    code="lead-undersized",
    part=CheckPart.LEADS,
    question="Is a lead too thin or too long for its load?",
    meaning="The resistance of the lead is what the wire table gives for its length and gauge, and "
    "that is too much for its load.",
    bench="`busbook budget`; feel lead and plug for warmth after a long stir.",
    words=Words(
        (
            "the lead is thin or long for what hangs on it",
            "the plug has too few pins for what flows through it",
            "one of its servos draws more than it should",
        ),
        "Work it out with busbook budget; feel lead and plug for warmth after a long stir.",
        "Fit thicker wire, a shorter way or more pins before hard flying.",
        kinds=(CauseKind.LONGER_LEAD, CauseKind.TOO_FEW_PINS, CauseKind.WORN_SERVO),
    ),
    in_flight=(lead_findings,),
    needs=Needs(at=nodes, own=(Quantity.VOLTAGE, Quantity.CURRENT), parent_voltage=True),
    sees=_sees_thin,
    proof="scatter",
)
