"""Servo currents across flights: a servo that draws more, one that heats, one that fell silent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.checks.case import Case, Found, established, trend_of, usual
from telemetry.checks.sensors.moved import sensor_moved
from telemetry.checks.servos.groups import rising_group
from telemetry.checks.servos.heating import judge_heating
from telemetry.results import Finding, Level, Trend
from telemetry.trends.evidence import Judgement
from telemetry.trends.features.flight import load_places
from telemetry.trends.parts import Part, log_odds, moved_since
from telemetry.trends.ratios import current_parts, mirror_place
from telemetry.trends.table import Table

# A silent servo takes about its share of the node's current with it; this part of it, at least,
# must be gone (ours: servos of one node are not alike).
_SILENT_PART = 0.5
# No servo falls silent by degrees: so many nats for the one that draws more (ours).
_GRADUAL_LEAN = 6.0
# Flights in which a chart that tells a silent servo comes to be sure of it (ours).
_SETTLED = 3
# A rise must be seen in at least so many resolution steps.
_STEPS = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Claim:
    """One established change of one place's current."""

    code: str
    place: str
    others: tuple[str, ...]
    judgement: Judgement


def loads_of(table: Table, aircraft: Aircraft) -> tuple[str, ...]:
    """Places that drive servos and whose own current was measured in the stir or in the air."""
    return load_places(aircraft, table.current_places)


def judge_servos(case: Case) -> Found:
    """Findings servo-current-rising, servo-silent and servo-heating."""
    found, claims, fell = _judged(case)
    for place in loads_of(case.table, case.aircraft):
        if not any(f.place == place and f.code == "servo-silent" for f in found.findings):
            earlier = _fell_silent(case, place, claims, fell.get(place))
            found.findings += [] if earlier is None else [earlier]
    return found


def _fell_silent(
    case: Case, place: str, claims: Mapping[str, _Claim], fell: int | None
) -> Finding | None:
    """A servo that fell silent earlier and draws again, or whose mirror began anew.

    That it moves again without a repair shows a contact, not that it is well: it is as grave as
    it was. Each time the chart told so, the flights up to then are judged as they stood;
    ``fell`` is the flight in which it does now.
    """
    loads = loads_of(case.table, case.aircraft)
    last, n = case.first(place), len(case.flights)
    anew = {m.before for m in case.notes if m.restarts and last < m.before < n}
    found: list[Finding] = []
    for end in (n, *sorted(anew, reverse=True)):
        then = case if end == n else case.until(end)
        signal = fell if end == n else _fall(then, place, loads)
        if signal is None:
            continue
        stand = claims if end == n else _judged(then)[1]
        if any(p != place and _told(c.judgement, signal) for p, c in stand.items()):
            continue  # of that ratio the other side is what changed
        for early in range(signal + 1, min(signal + 1 + _SETTLED, end) + 1):
            found += [
                _no_longer(f, n - early)
                for f in _judged(then.until(early))[0].findings
                if (f.code, f.place) == ("servo-silent", place)
            ]
    return max(found, key=lambda f: f.level.rank, default=None)


def _fall(case: Case, place: str, loads: Sequence[str]) -> int | None:
    """Flight in which the chart told that a place fell, before any other place is suspect."""
    others = _others(case, place, loads, {})
    j = None if others is None else _judge(case, place, others, -1.0)
    return None if j is None else _fell_in(case, place, j)


def _told(j: Judgement, flight: int) -> bool:
    return j.signal is not None and int(j.at[j.signal]) == flight


def _fell_in(case: Case, place: str, j: Judgement) -> int | None:
    """The same of a chart; None where it told none, or none so far as a servo's share."""
    if j.signal is None or j.onset is None:
        return None
    furthest = float(j.rise[j.onset : j.signal + 1 + _SETTLED].max())
    enough = furthest >= _SILENT_PART / case.servos(place)[0]
    return int(j.at[j.signal]) if enough else None


def _no_longer(finding: Finding, flights: int) -> Finding:
    """A finding as it stood so many flights ago."""
    since = finding.evidence["flights_since"]
    assert isinstance(since, int)
    return replace(
        finding,
        title=f"{finding.title}; no repair is noted there since",
        evidence={**finding.evidence, "flights_since": since + flights},
        change=None,
    )


def _judged(case: Case) -> tuple[Found, dict[str, _Claim], dict[str, int]]:
    """What the charts say now, their claims, and the flights in which one told that it fell."""
    found = Found()
    loads = loads_of(case.table, case.aircraft)
    claims: dict[str, _Claim] = {}
    fell: dict[str, int] = {}
    if not loads:
        found.not_judged.append("servo currents: no place reports its own current")
        return found, claims, fell
    while True:
        open_places = [p for p in loads if p not in claims]
        fresh = [c for p in open_places for c in _claims(case, p, loads, claims, fell)]
        if not fresh:
            break
        best = max(fresh, key=lambda c: _strength(c.judgement))
        best = _rather_the_mirror(case, best, loads)
        claims[best.place] = best
    for place in loads:
        claim = claims.get(place)
        others = _others(case, place, loads, claims)
        if claim is None and others is not None:
            j = _judge(case, place, others, 1.0)
            if j is not None:
                found.trends.append(_trend(case, "servo-current-rising", place, j))
            else:
                found.not_judged.append(
                    f"servo currents of {place}: fewer than three flights tell them"
                )
        elif claim is None:
            found.not_judged.append(f"servo currents of {place}: no other place is beyond doubt")
        elif claim is not None:
            found.trends.append(_trend(case, claim.code, place, claim.judgement))
        finding = None
        if (claim is None or claim.code == "servo-current-rising") and others:
            sound = tuple(p for p in loads if p != place and p not in claims)
            parts = _parts(case, place, others)
            finding = judge_heating(case, place, parts, sound, claim is not None, found)
        if finding is None and claim is not None:
            finding = _sensor_finding(case, claim) or _finding(case, claim)
        if finding is not None:
            found.findings.append(finding)
    return found, claims, fell


def _strength(j: Judgement) -> float:
    return float(j.chart.max()) / j.limit


def _others(
    case: Case, place: str, loads: Sequence[str], claims: dict[str, _Claim]
) -> tuple[str, ...] | None:
    """What to compare a place with: its mirror, else all others that are not suspect themselves.

    None where every other place is suspect; () where there is no other.
    """
    rest = [p for p in loads if p != place]
    mirror = mirror_place(case.aircraft, place, loads)
    if mirror is not None and mirror not in claims:
        return (mirror,)
    sound = tuple(p for p in rest if p not in claims)
    return None if rest and not sound else sound


def _references(
    case: Case, place: str, loads: Sequence[str], claims: dict[str, _Claim]
) -> list[tuple[str, ...]]:
    """The same, and where a note on those restarts the comparison, what none of its notes touched.

    A repair on one side must not hide what goes on at the other.
    """
    others = _others(case, place, loads, claims)
    if others is None:
        return []
    first = case.first(place)
    if case.first(place, *others) <= first:
        return [others]
    untouched = tuple(
        p for p in loads if p != place and p not in claims and case.first(place, p) <= first
    )
    return [others, untouched]


def _parts(case: Case, place: str, others: tuple[str, ...]) -> list[Part]:
    mirror = mirror_place(case.aircraft, place, others) is not None and len(others) == 1
    return current_parts(case.table, place, others, mirror=mirror)


def _judge(case: Case, place: str, others: tuple[str, ...], sign: float) -> Judgement | None:
    parts = _parts(case, place, others)
    first = case.first(place, *others)
    return case.judge(parts, first, place, sign=sign, logarithmic=True)


def _claims(
    case: Case,
    place: str,
    loads: Sequence[str],
    claims: dict[str, _Claim],
    fell: dict[str, int],
) -> list[_Claim]:
    """What the charts of one place establish, beyond the limits; ``fell`` gets when one fell."""
    out = []
    for others in _references(case, place, loads, claims):
        for sign, code in ((1.0, "servo-current-rising"), (-1.0, "servo-silent")):
            j = _judge(case, place, others, sign)
            if j is None or j.signal is None:
                continue
            claim = _Claim(code=code, place=place, others=others, judgement=j)
            if code == "servo-silent":
                if (flight := _fell_in(case, place, j)) is not None:
                    fell.setdefault(place, flight)
                counts = _silent(case, claim)
            else:
                counts = _servo_pct(case, claim) >= case.limits.servo_watch_pct
            if counts:
                out.append(claim)
    return out


def _servo_pct(case: Case, claim: _Claim) -> float:
    return case.servo_pct(claim.place, claim.judgement)


def _silent(case: Case, claim: _Claim) -> bool:
    """A sudden loss of about one servo's share."""
    servos, _ = case.servos(claim.place)
    return claim.judgement.step and claim.judgement.now >= _SILENT_PART / servos


def _rather_the_mirror(case: Case, claim: _Claim, loads: Sequence[str]) -> _Claim:
    """Of a ratio that moved: did this place rise, or did its mirror fall silent?

    The other places decide, or where there are none each place's own past.
    """
    mirror = mirror_place(case.aircraft, claim.place, loads)
    if mirror is None or claim.others != (mirror,):
        return claim
    rising = claim.code == "servo-current-rising"
    up, down = (claim.place, mirror) if rising else (mirror, claim.place)
    j = claim.judgement
    sound = tuple(p for p in loads if p not in (up, down))
    servos, _ = case.servos(down)
    # The logarithm of the ratio has moved by so much, whichever of the two it was.
    rise = j.mean_rise
    moved = float(np.log1p(rise)) if rising else -float(np.log1p(-min(rise, 0.99)))
    lean = _lean(case, up, down, sound, j, moved)
    if not (j.step and -float(np.expm1(-moved)) >= _SILENT_PART / servos):
        lean += _GRADUAL_LEAN
    if (lean >= 0) == rising:
        return claim
    up_it_is = lean >= 0
    place, other, sign = (up, down, 1.0) if up_it_is else (down, up, -1.0)
    turned = _judge(case, place, (other,), sign)
    code = "servo-current-rising" if up_it_is else "servo-silent"
    # A repair noted at one of them ends the other's chart where its own still stands.
    if turned is None or turned.onset is None:
        turned = j
    return _Claim(code=code, place=place, others=(other,), judgement=turned)


def _lean(
    case: Case, up: str, down: str, sound: tuple[str, ...], j: Judgement, moved: float
) -> float:
    """Log of the odds that ``up`` rose rather than that ``down`` fell, by the other places."""
    learn = np.ones(len(case.flights), dtype=bool)
    assert j.onset is not None
    learn[j.at[j.onset] :] = False
    total = 0.0
    for place, if_up, if_down in ((up, moved, 0.0), (down, 0.0, -moved)):
        for part in _parts(case, place, sound):
            seen = moved_since(part.since(case.first(place, *sound)), learn)
            if seen is not None:
                # Halved: both places are set against the same others.
                r = part.response
                total += 0.5 * log_odds(*seen, if_up * r, if_down * r)
    return total


def _level(case: Case, claim: _Claim) -> Level:
    if claim.code != "servo-silent" and _servo_pct(case, claim) < case.limits.servo_ground_pct:
        return Level.WATCH
    return Level.GROUND if claim.judgement.sure else Level.WATCH


def _finding(case: Case, claim: _Claim) -> Finding | None:
    j = claim.judgement
    assert j.onset is not None
    place = claim.place
    servos, known = case.servos(place)
    since, n = int(j.at[j.onset]), len(case.flights)
    before = usual(case.table, place, "stir_mean_a", j.first, since)
    now = usual(case.table, place, "stir_mean_a", max(since, n - 3), n)
    step_a = float(case.table.steps_a(place).max())
    if before is not None and before * j.now < _STEPS * step_a:
        return None
    level = _level(case, claim)
    pct = _servo_pct(case, claim)
    against = " and ".join(claim.others) if claim.others else "its own earlier flights"
    rising = claim.code == "servo-current-rising"
    group = rising_group(case, place, since, j.now) if rising else None
    more = "more" if rising else "less"
    title = f"{place} draws {100 * j.now:.0f} % {more} than usual, measured against {against}"
    if rising:
        title += f": about {pct:.0f} % of one servo's share"
    evidence: dict[str, float | int | str | None] = {
        "node_rise_pct": 100.0 * j.now if rising else -100.0 * j.now,
        "servo_share_pct": pct if rising else None,
        "servos": servos,
        "servos_known": "yes" if known else "assumed",
        "usual_stir_a": before,
        "stir_a": now,
        "compared_with": against,
    }
    if group is not None:
        evidence["servos_on"] = group.drives
        evidence["group_rise_pct"] = None if group.rise is None else 100.0 * group.rise
    return established(
        case,
        claim.code,
        place,
        j,
        level=level,
        title=title + ("" if known else f" (assuming {servos} servos there)"),
        quantity="stir mean current",
        unit="A",
        rise_unit="% of one servo's share",
        scale=100.0 * servos if rising else -100.0 * servos,
        limit=case.limits.servo_ground_pct if rising and level is Level.WATCH else None,
        before=before,
        now=now,
        servo=None if group is None else group.name,
        evidence=evidence,
    )


def _sensor_finding(case: Case, claim: _Claim) -> Finding | None:
    """The same change, where drop and total say that only a sensor moved: its own, or the mirror's.

    A ratio moves alike when the one reads more and when the other reads less.
    """
    j = claim.judgement
    assert j.onset is not None
    sign = 1.0 if claim.code == "servo-current-rising" else -1.0
    moved = float(np.log1p(max(sign * j.mean_rise, -0.95)))
    since = int(j.at[j.onset])
    suspects = [(claim.place, sign, moved)]
    if len(claim.others) == 1:
        suspects.append((claim.others[0], -sign, -moved))
    for place, way, by in suspects:
        if not sensor_moved(case, place, j.first, since, by):
            continue
        more = "more" if way > 0 else "less"
        return established(
            case,
            "capacity-mismatch",
            place,
            j,
            level=Level.WATCH,
            title=f"{place}: its current sensor reads {100 * j.now:.0f} % {more} than it used to; "
            "drop and total say that the current itself did not change",
            quantity="reading of the current sensor",
            unit="",
            rise_unit="%",
            scale=100.0 * way,
        )
    return None


def _trend(case: Case, code: str, place: str, j: Judgement) -> Trend:
    servos, _ = case.servos(place)
    sign = -1.0 if code == "servo-silent" else 1.0
    return trend_of(
        code,
        place,
        j,
        quantity="rise of current per average servo share",
        unit="%",
        scale=sign * 100.0 * servos,
        watch=case.limits.servo_watch_pct,
        ground=case.limits.servo_ground_pct,
    )
