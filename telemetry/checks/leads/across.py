"""Leads and contacts across flights: drop per amp, moments of contact, offset of the sensors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    JudgedTrend,
    Unjudged,
    established,
    usual,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.leads.in_flight import BRANCH_RESISTANCE_HIGH
from telemetry.checks.leads.in_stretches import CHANGED_WORDS, NEEDS, changed_leads, sees
from telemetry.checks.tree import OF_LEADS, current_of, fed_places
from telemetry.results import Level, NotJudged
from telemetry.trends.drops import drop_parts, offset_parts
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import EvidencePart, log_odds, moved_since

# Change of a voltage sensor's offset that is reported, V (heuristic): sensors drift less by warmth.
_OFFSET_WATCH_V = 0.06
# Log of the odds from which a small change is held for the sensors' and not the lead's (heuristic).
_SURE = 3.0
_RISING = ("branch-resistance-rising",)
# How far the drop at rest may move where only the whole current is known, part of that in flight.
_REST_DOUBT = 0.5
_APPARENT = Possible(
    CauseKind.WORN_SERVO,
    "a servo of {place} that draws more: the place reports no current of its own",
)


def judge_leads(history: AircraftHistory) -> JudgedAcross:
    """Findings branch-resistance-rising and sensor-offset: which of the two has changed?"""
    found = JudgedAcross()
    places = fed_places(history)
    if not places:
        why = "leads: no place reports a voltage besides the one that feeds it"
        log = "log the voltage of every node"
        found.not_judged.append(Unjudged(OF_LEADS, None, NotJudged.NO_COLUMN, why, log))
    for place, parent in places:
        judge_lead(history, place, parent, found)
    return found


def judge_lead(history: AircraftHistory, place: str, parent: str, found: JudgedAcross) -> None:
    """Drop per amp and offset of one lead: which of the two has changed?"""
    branch = branch_evidence(history, place, parent, found)
    offset = lasting_offset(history, place, parent, found)
    if branch is None or branch.judgement.signal is None:
        if offset is not None:
            found.drafts.append(offset_finding(history, place, parent, *offset))
        return
    j = branch.judgement
    assert j.onset is not None
    lean = offset_lean(history, place, parent, branch)
    if lean > 0:
        step_v = j.now * usual_current(history, branch, int(j.at[j.onset])) / 1000.0
        if offset is not None:
            found.drafts.append(offset_finding(history, place, parent, *offset))
        elif step_v >= _OFFSET_WATCH_V:
            in_volts = replace(
                j, now=step_v, low=step_v * j.low / j.now, high=step_v * j.high / j.now
            )
            found.drafts.append(offset_finding(history, place, parent, in_volts, 1.0))
        # Neither is sure and the offset would be too small to tell: then it may be the lead.
        if offset is not None or step_v >= _OFFSET_WATCH_V or lean > _SURE:
            return
    finding = branch_finding(history, branch)
    if finding is not None:
        found.drafts.append(finding)


@dataclass(frozen=True, slots=True, kw_only=True)
class BranchEvidence:
    """The evidence on one lead; ``own`` where the place reports its own current."""

    place: str
    parent: str
    current: str
    own: bool
    fit: str
    parts: Sequence[EvidencePart]
    judgement: Judgement
    watch: float
    ground: float


def branch_evidence(
    history: AircraftHistory, place: str, parent: str, found: JudgedAcross
) -> BranchEvidence | None:
    """What flights tell of one lead; None, with the reason in ``found``, where it is not judged."""
    current, own = current_of(history, place, parent)
    if current is None:
        why = f"lead of {place}: no current is reported for it"
        log = f"log the current of {place}, or of the whole"
        found.not_judged.append(Unjudged(_RISING, place, NotJudged.UNLOGGED, why, log))
        return None
    fit = "branch_mohm" if own else "apparent_mohm"
    parts = drop_parts(history.table, place, parent, current, fit=fit)
    j = history.judge(parts, history.first(place, parent), place)
    if j is None:
        why = f"lead of {place}: fewer than three flights tell its drop per amp"
        found.not_judged.append(Unjudged(_RISING, place, NotJudged.TOO_FEW_FLIGHTS, why))
        return None
    # Without its own current a place sees only its share of the whole.
    share = 1.0 if own else 1.0 / len(fed_places(history))
    watch = history.limits.branch_watch_mohm * share
    ground = history.limits.branch_ground_mohm * share
    found.trends.append(
        JudgedTrend(
            "branch-resistance-rising",
            place,
            j,
            quantity="rise of drop per amp" + ("" if own else " of the whole current"),
            unit="mOhm",
            watch=watch,
            ground=ground,
        )
    )
    return BranchEvidence(
        place=place,
        parent=parent,
        current=current,
        own=own,
        fit=fit,
        parts=parts,
        judgement=j,
        watch=watch,
        ground=ground,
    )


def usual_current(history: AircraftHistory, branch: BranchEvidence, since: int) -> float:
    """Mean current of the lead in the air before the change, A."""
    x = history.table.stretches("air", "amps", branch.current)
    x = None if x is None else x[branch.judgement.first : since]
    return 1.0 if x is None or np.isnan(x).all() else float(np.nanmean(x))


def offset_lean(history: AircraftHistory, place: str, parent: str, branch: BranchEvidence) -> float:
    """Log of the odds that the offset of a sensor changed rather than the resistance.

    A resistance shows in the slope and hardly at rest; an offset at rest as under load, and not in
    the slope.
    """
    j = branch.judgement
    assert j.onset is not None
    since = int(j.at[j.onset])
    learn = np.arange(len(history.flights)) < since
    loaded_a = usual_current(history, branch, since)
    rest = usual(history.table, branch.current, "rest_a", 0, len(history.flights))
    rest_a = 0.1 * loaded_a if rest is None else rest
    rise = j.mean_rise
    lean = 0.0
    # Against the current of the whole neither slope nor rest says what the place's own would.
    slopes = [p for p in branch.parts if p.name in ("slope", branch.fit)][:1] if branch.own else []
    for part in slopes:
        moved = moved_since(part.since(branch.judgement.first), learn)
        if moved is not None:
            lean += log_odds(*moved, 0.0, rise)
    step_v = rise * loaded_a / 1000.0
    doubt_v = rise * rest_a / 1000.0 if branch.own else _REST_DOUBT * step_v
    for part in offset_parts(history.table, place, parent):
        moved = moved_since(part.since(branch.judgement.first), learn)
        if moved is not None:
            at_rest_v = rise * rest_a / 1000.0 if part.name == "rest" else 0.0
            sd = float(np.hypot(moved[1], doubt_v if part.name == "rest" else 0.0))
            lean += log_odds(moved[0], sd, step_v, at_rest_v)
    return lean


def branch_finding(history: AircraftHistory, branch: BranchEvidence) -> FindingDraft | None:
    """The finding of a lead whose resistance rose, mOhm; None below what is watched."""
    j, place, own = branch.judgement, branch.place, branch.own
    assert j.onset is not None
    since = int(j.at[j.onset])
    before = baseline_mohm(history, branch, since)
    pct = 100.0 * j.now / before if before else float("inf")
    if j.now < branch.watch or pct < history.limits.branch_watch_pct:
        return None
    grave = j.now >= branch.ground and pct >= history.limits.branch_ground_pct
    level = Level.GROUND if grave and j.sure and own else Level.WATCH
    if own:
        title = f"lead to {place}: {j.now:.0f} mOhm more than usual"
        title += f" ({before:.0f} before)" if before else ""
    else:
        title = f"lead to {place}: its drop per amp of the whole current is up by {pct:.0f} %"
    return established(
        history,
        "branch-resistance-rising",
        place,
        j,
        level=level,
        title=title,
        quantity="drop per amp",
        unit="mOhm",
        rise_unit="mOhm",
        limit=branch.ground if level is Level.WATCH and own else None,
        before=before,
        now=None if before is None else before + j.now,
        further=() if own else (_APPARENT,),
        evidence={
            "usual_mohm": before,
            "rise_pct": pct if before else None,
            "measured": "own current" if own else "apparent, against the whole current",
            "from": branch.parent,
        },
    )


def baseline_mohm(history: AircraftHistory, branch: BranchEvidence, since: int) -> float | None:
    """Usual resistance before the change: as fitted, else as the mean drop says."""
    value = usual(history.table, branch.place, branch.fit, branch.judgement.first, since)
    if value is not None:
        return value
    for part in branch.parts:
        y = part.y[(part.at >= branch.judgement.first) & (part.at < since)]
        if y.size and float(np.median(y)) > 0:
            return float(np.median(y))
    return None


def lasting_offset(
    history: AircraftHistory, place: str, parent: str, found: JudgedAcross
) -> tuple[Judgement, float] | None:
    """A lasting change of offset, and its sign (1: the place reads lower than it used to)."""
    parts = offset_parts(history.table, place, parent)
    first = history.first(place, parent)
    for sign in (1.0, -1.0):
        j = history.judge(parts, first, place, sign=sign)
        if j is None:
            why = f"sensors of {place} and {parent}: fewer than three flights tell their offset"
            few = Unjudged(("sensor-offset",), place, NotJudged.TOO_FEW_FLIGHTS, why)
            found.not_judged.append(few)
            return None
        if sign > 0:
            found.trends.append(
                JudgedTrend(
                    "sensor-offset",
                    place,
                    j,
                    quantity=f"change of offset against {parent}",
                    unit="V",
                    watch=_OFFSET_WATCH_V,
                )
            )
        if j.signal is not None and j.onset is not None and j.now >= _OFFSET_WATCH_V:
            return j, sign
    return None


def offset_finding(
    history: AircraftHistory, place: str, parent: str, j: Judgement, sign: float
) -> FindingDraft:
    """The finding of a place that reads lower or higher than it used to, V at no load."""
    lower = "lower" if sign > 0 else "higher"
    return established(
        history,
        "sensor-offset",
        place,
        j,
        level=Level.WATCH,
        title=f"{place} reads {j.now:.2f} V {lower} against {parent} at no load than it used to",
        quantity="offset",
        unit="V",
        rise_unit="V",
        scale=sign,
    )


BRANCH_RESISTANCE_RISING = Check(
    code="branch-resistance-rising",
    part=CheckPart.LEADS,
    rise_step=lambda limits: limits.branch_watch_mohm,
    question="Does a lead or contact drop more volts per ampere than it used to?",
    meaning=BRANCH_RESISTANCE_HIGH.meaning,
    bench=BRANCH_RESISTANCE_HIGH.bench,
    words=CHANGED_WORDS,
    in_flight=(changed_leads,),
    needs=NEEDS,
    sees=sees,
    words_across=Words(
        (
            "a worn or dirty connector, or broken strands in the lead of {place}",
            "a lead or plug that was changed without a note in the book",
            "the current sensor of {place}, where the balance with the total changed as well",
        ),
        "With the system on and a steady load, move the plug and lead of {place} and "
        "look at the drop.",
        "Clean or replace the plug or lead, stir again, and note it with the place.",
        kinds=(CauseKind.CONTACT, CauseKind.UNNOTED_CHANGE, CauseKind.CURRENT_SENSOR),
    ),
    across=(judge_leads,),
)
