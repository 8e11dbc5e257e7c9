"""Leads and contacts across flights: drop per amp, moments of contact, offset of the sensors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.channels import PlaceKind, kind_of_place
from telemetry.results import Finding, Level
from telemetry.season.case import Case, Found, change_of, trend_of, usual
from telemetry.season.counts import Burst, judge_counts
from telemetry.season.drops import drop_parts, offset_parts
from telemetry.season.evidence import Judgement, Part, judge_rise, log_odds, moved_since
from telemetry.season.voltages import TOTAL
from telemetry.season.words import WORDS

# Change of a voltage sensor's offset that is told, V (ours): larger than sensors drift by warmth.
_OFFSET_WATCH_V = 0.06
# A node that went down and came back was cut off, whatever its voltage readings caught of it.
_CONTACT = ("contact", "brownout")
# Logarithm of the ratio of the two tails of the drop, from flight to flight; and by how much the
# upper one must have grown, V (ours: the least fall that counts as a sag).
_TAIL_SIGMA, _TAIL_WATCH_V = 0.15, 0.25
# What one flight alone cannot explain tells as well, if it goes on at one place only.
_UNEXPLAINED = (*_CONTACT, "unknown")


def judge_leads(case: Case) -> Found:
    """Findings branch-resistance-rising, contact-intermittent and sensor-offset."""
    found = Found()
    places = _fed_places(case)
    if not places:
        found.not_judged.append("leads: no place reports a voltage besides the one that feeds it")
    for place, parent in places:
        _lead(case, place, parent, found)
    _contacts(case, [p for p, _ in places], found)
    return found


def _fed_places(case: Case) -> list[tuple[str, str]]:
    """Places with a voltage of their own, and the place that feeds each."""
    seen = case.table.voltage_places
    root = case.aircraft.root or next((p for p in seen if kind_of_place(p) is PlaceKind.BUS), None)
    packs = [p for p in seen if kind_of_place(p) is PlaceKind.PACK]
    if root is None and len(packs) == 1:
        root = packs[0]
    out = []
    for place in seen:
        is_node = kind_of_place(place) in (PlaceKind.NODE, PlaceKind.RECEIVER)
        if place == root or not (is_node or case.aircraft.node(place)):
            continue
        parent = case.aircraft.parent(place) or root
        if parent in seen and parent != place:
            out.append((place, parent))
    return out


def _current_of(case: Case, place: str, parent: str) -> tuple[str | None, bool]:
    """The place whose current flows through the lead; True where it is that place's own."""
    known = case.table.current_places
    fed_on = case.aircraft.children(place)
    if place in known and not fed_on:
        return place, True
    return next((p for p in (parent, TOTAL) if p in known), None), False


def _lead(case: Case, place: str, parent: str, found: Found) -> None:
    """Drop per amp and offset of one lead: which of the two has changed?"""
    branch = _branch(case, place, parent, found)
    offset = _offset(case, place, parent, found)
    if branch is None or branch.judgement.signal is None:
        if offset is not None:
            found.findings.append(_offset_finding(case, place, parent, *offset))
        return
    j = branch.judgement
    assert j.onset is not None
    if _offset_lean(case, place, parent, branch) > 0:
        step_v = j.now * _usual_current(case, branch, int(j.at[j.onset])) / 1000.0
        if offset is not None:
            found.findings.append(_offset_finding(case, place, parent, *offset))
        elif step_v >= _OFFSET_WATCH_V:
            in_volts = replace(
                j, now=step_v, low=step_v * j.low / j.now, high=step_v * j.high / j.now
            )
            found.findings.append(_offset_finding(case, place, parent, in_volts, 1.0))
        return
    finding = _branch_finding(case, branch)
    if finding is not None:
        found.findings.append(finding)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Branch:
    """The evidence on one lead; ``own`` where the place reports its own current."""

    place: str
    parent: str
    current: str
    own: bool
    fit: str
    parts: Sequence[Part]
    first: int
    judgement: Judgement
    watch: float
    ground: float


def _branch(case: Case, place: str, parent: str, found: Found) -> _Branch | None:
    current, own = _current_of(case, place, parent)
    if current is None:
        found.not_judged.append(f"lead of {place}: no current is reported for it")
        return None
    fit = "branch_mohm" if own else "apparent_mohm"
    parts = drop_parts(case.table, place, parent, current, fit=fit)
    first = case.first(place, parent)
    j = judge_rise(parts, len(case.flights), chance=case.watch_chance, first=first)
    if j is None:
        found.not_judged.append(f"lead of {place}: fewer than three flights tell its drop per amp")
        return None
    # Without its own current a place sees only its share of the whole.
    share = 1.0 if own else 1.0 / max(1, len(_fed_places(case)))
    watch = case.limits.branch_watch_mohm * share
    ground = case.limits.branch_ground_mohm * share
    found.trends.append(
        trend_of(
            "branch-resistance-rising",
            place,
            j,
            quantity="rise of drop per amp" + ("" if own else " of the whole current"),
            unit="mOhm",
            watch=watch,
            ground=ground,
        )
    )
    return _Branch(
        place=place,
        parent=parent,
        current=current,
        own=own,
        fit=fit,
        parts=parts,
        first=first,
        judgement=j,
        watch=watch,
        ground=ground,
    )


def _usual_current(case: Case, branch: _Branch, since: int) -> float:
    """Mean current of the lead in the air before the change, A."""
    x = case.table.stretches("air", "amps", branch.current)
    x = None if x is None else x[branch.first : since]
    return 1.0 if x is None or np.isnan(x).all() else float(np.nanmean(x))


def _offset_lean(case: Case, place: str, parent: str, branch: _Branch) -> float:
    """Log of the odds that the offset of a sensor changed rather than the resistance.

    A resistance shows in the slope and hardly at rest; an offset at rest as under load, and not in
    the slope.
    """
    j = branch.judgement
    assert j.onset is not None
    since = int(j.at[j.onset])
    learn = np.arange(len(case.flights)) < since
    loaded_a = _usual_current(case, branch, since)
    rest = usual(case.table, branch.current, "rest_a", 0, len(case.flights))
    rest_a = 0.1 * loaded_a if rest is None else rest
    lean = 0.0
    for part in branch.parts:
        moved = moved_since(part.since(branch.first), learn)
        if part.name == branch.fit and moved is not None:
            lean += log_odds(*moved, 0.0, j.now)
    for part in offset_parts(case.table, place, parent):
        moved = moved_since(part.since(branch.first), learn)
        if moved is not None:
            at_rest = j.now * rest_a / 1000.0 if part.name == "rest" else 0.0
            lean += log_odds(*moved, j.now * loaded_a / 1000.0, at_rest)
    return lean


def _branch_finding(case: Case, branch: _Branch) -> Finding | None:
    j, place, own, n = branch.judgement, branch.place, branch.own, len(case.flights)
    assert j.onset is not None
    since = int(j.at[j.onset])
    before = _baseline_mohm(case, branch, since)
    pct = 100.0 * j.now / before if before else float("inf")
    if j.now < branch.watch or pct < case.limits.branch_watch_pct:
        return None
    strict = judge_rise(branch.parts, n, chance=case.ground_chance, first=branch.first)
    grave = j.now >= branch.ground and pct >= case.limits.branch_ground_pct
    sure = strict is not None and strict.signal is not None
    level = Level.GROUND if grave and sure and own else Level.WATCH
    if own:
        title = f"lead to {place}: {j.now:.0f} mOhm more than usual"
        title += f" ({before:.0f} before)" if before else ""
    else:
        title = f"lead to {place}: its drop per amp of the whole current is up by {pct:.0f} %"
    words = WORDS["branch-resistance-rising"]
    apparent = ("a servo of that place that draws more: it reports no current of its own",)
    return Finding(
        code="branch-resistance-rising",
        level=level,
        place=place,
        title=title,
        evidence={
            "rise_mohm": j.now,
            "usual_mohm": before,
            "rise_pct": pct if before else None,
            "kind": ("one step" if j.step else "gradual") + ("" if own else ", apparent"),
            "from": branch.parent,
            "flights_since": n - since,
            "chart": float(j.chart[-1]),
            "chart_limit": j.limit,
            "p_trend": j.p_trend,
        },
        explanations=words.explanations if own else (*words.explanations, *apparent),
        confirm=words.confirm,
        advice=words.advice,
        since_flight=case.listed[since].id,
        change=change_of(
            j,
            quantity="drop per amp",
            unit="mOhm",
            rise_unit="mOhm",
            scale=1.0,
            level=level,
            limit=branch.ground if level is Level.WATCH and own else None,
            before=before,
            now=None if before is None else before + j.now,
        ),
    )


def _baseline_mohm(case: Case, branch: _Branch, since: int) -> float | None:
    """Usual resistance before the change: as fitted, else as the mean drop says."""
    value = usual(case.table, branch.place, branch.fit, branch.first, since)
    if value is not None:
        return value
    for part in branch.parts:
        y = part.y[(part.at >= branch.first) & (part.at < since)]
        if y.size and float(np.median(y)) > 0:
            return float(np.median(y))
    return None


def _offset(case: Case, place: str, parent: str, found: Found) -> tuple[Judgement, float] | None:
    """A lasting change of offset, and its sign (1: the place reads lower than it used to)."""
    parts = offset_parts(case.table, place, parent)
    n, first = len(case.flights), case.first(place, parent)
    for sign in (1.0, -1.0):
        j = judge_rise(parts, n, chance=case.watch_chance, first=first, sign=sign)
        if j is None:
            return None
        if sign > 0:
            found.trends.append(
                trend_of(
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


def _offset_finding(case: Case, place: str, parent: str, j: Judgement, sign: float) -> Finding:
    assert j.onset is not None
    since = int(j.at[j.onset])
    words = WORDS["sensor-offset"]
    lower = "lower" if sign > 0 else "higher"
    return Finding(
        code="sensor-offset",
        level=Level.WATCH,
        place=place,
        title=f"{place} reads {j.now:.2f} V {lower} against {parent} at no load than it used to",
        evidence={
            "change_v": sign * j.now,
            "kind": "one step" if j.step else "gradual",
            "flights_since": len(case.flights) - since,
            "chart": float(j.chart[-1]),
            "chart_limit": j.limit,
        },
        explanations=words.explanations,
        confirm=words.confirm,
        advice=words.advice,
        since_flight=case.listed[since].id,
        change=change_of(
            j,
            quantity="offset",
            unit="V",
            rise_unit="V",
            scale=1.0,
            level=Level.WATCH,
            limit=None,
            before=None,
            now=None,
        ),
    )


def _contacts(case: Case, places: Sequence[str], found: Found) -> None:
    """Falls of voltage at one place that neither load nor supply explains, flight after flight."""
    for place in places:
        finding = _straying(case, place, found)
        for origins in (_CONTACT, _UNEXPLAINED):
            if finding is None:
                finding = _counted(case, place, places, origins)
        if finding is not None:
            found.findings.append(finding)


def _counted(
    case: Case, place: str, places: Sequence[str], origins: Sequence[str]
) -> Finding | None:
    own = falls_at(case, place, origins)
    others = [falls_at(case, p, origins) for p in places if p != place]
    first = case.first(place)
    burst = judge_counts(own, others, first=first, chance=case.watch_chance)
    if burst is None:
        return None
    strict = judge_counts(own, others, first=first, chance=case.ground_chance)
    return counted_finding(
        case,
        "contact-intermittent",
        place,
        burst,
        grave=strict is not None and burst.flights >= 2,
        title=f"{place} lost voltage for moments that its load does not explain",
        deepest=deepest_at(case, place, origins),
    )


def _straying(case: Case, place: str, found: Found) -> Finding | None:
    """The drop to a place strays upwards, as contacts do, more than it used to."""
    (up, _), (down, _) = (case.table.column(place, f) for f in ("drop_tail_v", "drop_tail_other_v"))
    at = np.flatnonzero((up > 0) & (down > 0))
    if at.size == 0:
        return None
    part = Part(
        name="tail",
        at=at,
        y=np.log(up[at] / down[at]),
        se=np.zeros(at.size),
        sigma=_TAIL_SIGMA,
    )
    n, first = len(case.flights), case.first(place)
    j = judge_rise([part], n, chance=case.watch_chance, first=first)
    if j is None:
        return None
    found.trends.append(
        trend_of(
            "contact-intermittent",
            place,
            j,
            quantity="stray of the drop upwards over downwards",
            unit="%",
            scale=100.0,
        )
    )
    if j.signal is None or j.onset is None:
        return None
    since = int(j.at[j.onset])
    now_v = usual(case.table, place, "drop_tail_v", max(since, n - 3), n)
    before_v = usual(case.table, place, "drop_tail_v", first, since)
    if now_v is None or before_v is None or now_v - before_v < _TAIL_WATCH_V:
        return None
    strict = judge_rise([part], n, chance=case.ground_chance, first=first)
    sure = strict is not None and strict.signal is not None
    words = WORDS["contact-intermittent"]
    return Finding(
        code="contact-intermittent",
        level=Level.GROUND if sure and now_v >= case.limits.margin_watch_v else Level.WATCH,
        place=place,
        title=f"{place}: for moments {now_v:.1f} V are lost on the way that its load does not "
        f"explain, {before_v:.1f} V before",
        evidence={
            "stray_v": now_v,
            "usual_stray_v": before_v,
            "flights_since": n - since,
            "chart": float(j.chart[-1]),
            "chart_limit": j.limit,
            "p_trend": j.p_trend,
        },
        explanations=words.explanations,
        confirm=words.confirm,
        advice=words.advice,
        since_flight=case.listed[since].id,
        change=change_of(
            j,
            quantity="voltage lost for moments",
            unit="V",
            rise_unit="%",
            scale=100.0,
            level=Level.WATCH,
            limit=None,
            before=before_v,
            now=now_v,
        ),
    )


def falls_at(case: Case, place: str, origins: Sequence[str]) -> list[int]:
    """Falls of these origins at a place, flight by flight."""
    return [
        sum(e.count for e in m.events if e.place == place and e.origin in origins)
        for m in case.flights
    ]


def deepest_at(case: Case, place: str, origins: Sequence[str]) -> float | None:
    """The deepest of them, V."""
    depths = [
        e.deepest_v
        for m in case.flights
        for e in m.events
        if e.place == place and e.origin in origins
    ]
    return max(depths, default=None)


def counted_finding(
    case: Case,
    code: str,
    place: str,
    burst: Burst,
    *,
    grave: bool,
    title: str,
    deepest: float | None,
) -> Finding:
    """The finding of counted events."""
    words = WORDS[code]
    times = "once" if burst.count == 1 else f"{burst.count} times"
    span = "1 flight" if burst.flights == 1 else f"{burst.flights} flights"
    return Finding(
        code=code,
        level=Level.GROUND if grave else Level.WATCH,
        place=place,
        title=f"{title}: {times} in {span}",
        evidence={
            "times": burst.count,
            "flights_with": burst.flights,
            "usual_per_flight": burst.usual,
            "p_chance": burst.p,
            "deepest_v": deepest,
            "flights_since": len(case.flights) - burst.since,
        },
        explanations=words.explanations,
        confirm=words.confirm,
        advice=words.advice,
        since_flight=case.listed[burst.since].id,
    )
