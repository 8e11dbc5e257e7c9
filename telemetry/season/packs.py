"""Packs across flights: resistance, sharing, a pack that was out, weakness, dips, counters."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from telemetry.channels import PlaceKind, kind_of_place
from telemetry.results import Finding, Level
from telemetry.season.case import Case, Found, change_of, trend_of, usual
from telemetry.season.counts import judge_counts
from telemetry.season.drops import drop_parts, feature_part
from telemetry.season.evidence import Judgement, Part, judge_rise
from telemetry.season.leads import counted_finding, deepest_at, falls_at
from telemetry.season.measures import Measures
from telemetry.season.words import WORDS

FloatArray = NDArray[np.float64]

# Limits of this project: a pack's resistance up by this much of its own baseline.
SOURCE_WATCH_PCT, SOURCE_GROUND_PCT = 30.0, 100.0
_PATH_SIGMA_MOHM = 2.0
# Voltage after landing lower by this share than charge used and start voltage explain.
_WEAK_PCT = 2.0
_COUNTER_PCT = 10.0
# A pack whose share is below this gives nothing; above the other it used to take part (ours).
_OUT_SHARE, _PART_SHARE = 0.03, 0.15
# Scatter to begin with, from flight to flight: logarithm of a pack's resistance against the other
# pack's and against its own past; share; voltage after landing; logarithm of the counter's ratio.
_SOURCE_SIGMA = {"source_mohm": (0.06, 0.10), "stir_sag_mohm": (0.08, 0.14)}
_SHARE_SIGMA, _SHARE_WEIGHT = 0.06, 6.0
# The fuller pack gives more: share per volt between the packs at rest (ours).
_SHARE_PER_V, _SHARE_PER_V_SD = 1.0, 1.5
_END_SIGMA_V, _COUNTER_SIGMA = 0.04, 0.02
# Resistance of cells falls by 1 to 2 % a kelvin of warmth (common practice, no source).
_PER_KELVIN, _PER_KELVIN_SD = -0.015, 0.012
# Voltage after landing: 1 V/V with that at the start; with charge, V/Ah of a 4 Ah pack (ours).
_END_PER_START, _END_PER_START_SD = 0.9, 0.3
_END_PER_AH, _END_PER_AH_SD = -0.25, 0.2
_SUPPLY = ("supply", "pack", "brownout")


def judge_packs(case: Case) -> Found:
    """Findings on packs, supply and counters."""
    found = Found()
    packs = _packs(case)
    if not packs:
        found.not_judged.append("packs: no place of the log is a pack")
    shared = [p for p in packs if _role(case, p) == "shared"]
    for pack in packs:
        other = next((p for p in shared if p != pack), None) if len(shared) == 2 else None
        _source(case, pack, other, found)
        _path(case, pack, found)
        _weak(case, pack, found)
    if len(shared) == 2:
        _share(case, (shared[0], shared[1]), found)
    for pack in shared:
        _out(case, pack, found)
    _supply(case, packs, found)
    for place, feature in case.table.measured:
        if feature == "counter_ratio":
            _counter(case, place, found)
    return found


def _packs(case: Case) -> list[str]:
    told = [p.name for p in case.aircraft.packs]
    seen = {p for p, _ in case.table.measured if kind_of_place(p) is PlaceKind.PACK}
    return [*told, *sorted(seen - set(told))]


def _role(case: Case, pack: str) -> str:
    found = case.aircraft.pack(pack)
    return "shared" if found is None else found.role


def _first(case: Case, pack: str) -> int:
    """First flight of the baseline: since the last note, and since this very pack was fitted."""
    first = case.first(pack)
    label = case.flights[-1].labels.get(pack)
    others = [k for k, m in enumerate(case.flights) if m.labels.get(pack) != label]
    return max(first, others[-1] + 1 if others else 0)


def _log(case: Case, place: str, feature: str) -> tuple[FloatArray, FloatArray]:
    """Logarithm of a positive feature, flight by flight, and its standard error."""
    value, se = case.table.column(place, feature)
    value = np.where(value > 0, value, np.nan)
    return np.log(value), np.minimum(se / value, 1.0)


def _source(case: Case, pack: str, other: str | None, found: Found) -> None:
    parts = []
    for feature, (against, alone) in _SOURCE_SIGMA.items():
        y, se = _log(case, pack, feature)
        if other is not None:
            theirs = _log(case, other, feature)
            y, se = y - theirs[0], np.hypot(se, theirs[1])
        at = np.flatnonzero(np.isfinite(y))
        if at.size == 0:
            continue
        design = slope = slope_sd = None
        if other is None:
            temperature = np.array([_warmth(case.flights[int(k)]) for k in at])
            known = np.isfinite(temperature)
            middle = float(temperature[known].mean()) if known.any() else 0.0
            design = np.where(known, temperature - middle, 0.0)[:, None]
            slope, slope_sd = np.array([_PER_KELVIN]), np.array([_PER_KELVIN_SD])
        parts.append(
            Part(
                name=feature,
                at=at,
                y=y[at],
                se=se[at],
                sigma=alone if other is None else against,
                design=design,
                slope=slope,
                slope_sd=slope_sd,
            )
        )
    if not parts:
        found.not_judged.append(f"{pack}: no flight tells its resistance")
        return
    n = len(case.flights)
    first = max(_first(case, pack), 0 if other is None else _first(case, other))
    j = judge_rise(parts, n, chance=case.watch_chance, first=first, logarithmic=True)
    if j is None:
        return
    found.trends.append(
        trend_of(
            "source-resistance-rising",
            pack,
            j,
            quantity="rise of source resistance",
            unit="%",
            scale=100.0,
            watch=SOURCE_WATCH_PCT,
            ground=SOURCE_GROUND_PCT,
        )
    )
    pct = 100.0 * j.now
    if j.signal is None or j.onset is None or pct < SOURCE_WATCH_PCT:
        return
    strict = judge_rise(parts, n, chance=case.ground_chance, first=first)
    sure = strict is not None and strict.signal is not None
    level = Level.GROUND if sure and pct >= SOURCE_GROUND_PCT else Level.WATCH
    since = int(j.at[j.onset])
    before = usual(case.table, pack, "source_mohm", first, since)
    now = usual(case.table, pack, "source_mohm", max(since, n - 3), n)
    beside = f", measured against {other}" if other else ""
    label = case.flights[-1].labels.get(pack)
    words = WORDS["source-resistance-rising"]
    found.findings.append(
        Finding(
            code="source-resistance-rising",
            level=level,
            place=pack,
            title=f"{pack}{f' ({label})' if label else ''}: resistance up by {pct:.0f} %{beside}",
            evidence={
                "rise_pct": pct,
                "usual_mohm": before,
                "mohm": now,
                "kind": "one step" if j.step else "gradual",
                "compared_with": other or "its own earlier flights, temperature taken out",
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
                quantity="source resistance",
                unit="mOhm",
                rise_unit="%",
                scale=100.0,
                level=level,
                limit=SOURCE_GROUND_PCT if level is Level.WATCH else None,
                before=before,
                now=now,
            ),
        )
    )


def _warmth(m: Measures) -> float:
    return float("nan") if m.temperature_c is None else m.temperature_c


def _beyond(
    case: Case,
    part: Part,
    first: int,
    *,
    signs: Sequence[float],
    gate: float,
    logarithmic: bool = False,
) -> tuple[Judgement, float] | None:
    """Judge one feature; the judgement and its direction where a change beyond the gate stands."""
    for sign in signs:
        j = judge_rise(
            [part],
            len(case.flights),
            chance=case.watch_chance,
            first=first,
            sign=sign,
            logarithmic=logarithmic,
        )
        if j is not None and j.signal is not None and j.onset is not None and j.now >= gate:
            return j, sign
    return None


def _path(case: Case, pack: str, found: Found) -> None:
    """What lies between a pack and the bus: switch, plug, diode."""
    root = case.aircraft.root or "bus"
    if pack not in case.table.current_places or root == pack:
        return
    parts = drop_parts(case.table, root, pack, pack, fit="")
    fitted = feature_part(case.table, pack, "path_mohm", _PATH_SIGMA_MOHM)
    parts += [] if fitted is None else [fitted]
    n, first = len(case.flights), _first(case, pack)
    j = judge_rise(parts, n, chance=case.watch_chance, first=first)
    if j is None or j.signal is None or j.now < case.limits.branch_watch_mohm:
        return
    strict = judge_rise(parts, n, chance=case.ground_chance, first=first)
    grave = strict is not None and strict.signal is not None
    grave = grave and j.now >= case.limits.branch_ground_mohm
    _add(
        case,
        found,
        "source-resistance-rising",
        pack,
        j,
        title=f"{pack}: {j.now:.0f} mOhm more than usual between it and {root} "
        "(switch, plug or diode)",
        quantity="drop per amp to the bus",
        unit="mOhm",
        rise_unit="mOhm",
        scale=1.0,
        level=Level.GROUND if grave else Level.WATCH,
    )


def _weak(case: Case, pack: str, found: Found) -> None:
    """Voltage after landing, with start voltage and charge used taken out."""
    end_v, start_v = (case.table.column(pack, f)[0] for f in ("end_v", "start_v"))
    used_ah = case.table.column(pack, "used_mah")[0] / 1000.0
    at = np.flatnonzero(np.isfinite(end_v + start_v + used_ah))
    if at.size == 0:
        return
    end_v, start_v, used_ah = end_v[at], start_v[at], used_ah[at]
    pack_of = case.aircraft.pack(pack)
    capacity_ah = (pack_of.capacity_mah if pack_of and pack_of.capacity_mah else 4000.0) / 1000.0
    per_ah = 4.0 / capacity_ah
    part = Part(
        name="end_v",
        at=at,
        y=end_v,
        se=np.zeros(at.size),
        sigma=_END_SIGMA_V,
        design=np.stack([start_v - start_v.mean(), used_ah - used_ah.mean()], axis=1),
        slope=np.array([_END_PER_START, _END_PER_AH * per_ah]),
        slope_sd=np.array([_END_PER_START_SD, _END_PER_AH_SD * per_ah]),
    )
    gate = _WEAK_PCT / 100.0 * float(end_v.mean())
    result = _beyond(case, part, _first(case, pack), signs=(-1.0,), gate=gate)
    if result is None:
        return
    j, _ = result
    _add(
        case,
        found,
        "pack-weak",
        pack,
        j,
        title=f"{pack} ends the flight {j.now:.2f} V lower than charge used and start explain",
        quantity="voltage after landing",
        unit="V",
        rise_unit="V",
        scale=-1.0,
        level=Level.WATCH,
    )


def _share(case: Case, pair: tuple[str, str], found: Found) -> None:
    y = case.table.column(pair[0], "share")[0]
    at = np.flatnonzero(np.isfinite(y))
    if at.size == 0:
        return
    one, two = (case.table.column(p, "rest_v")[0][at] for p in pair)
    # The first pack's voltage at rest over the second's; 0 where not known.
    apart, y = np.nan_to_num(one - two), y[at]
    part = Part(
        name="share",
        at=at,
        y=y,
        se=np.zeros(at.size),
        sigma=_SHARE_SIGMA,
        weight=_SHARE_WEIGHT,
        design=(apart - apart.mean())[:, None],
        slope=np.array([_SHARE_PER_V]),
        slope_sd=np.array([_SHARE_PER_V_SD]),
    )
    first = max(_first(case, p) for p in pair)
    allowed = case.limits.share_points / 100.0
    result = _beyond(case, part, first, signs=(-1.0, 1.0), gate=0.0)
    if result is None:
        return
    j, sign = result
    assert j.onset is not None
    since = int(j.at[j.onset])
    before = float(np.mean(y[(at >= first) & (at < since)])) if since > first else 0.5
    now = before + sign * j.now
    if abs(now - 0.5) < allowed and j.now < allowed:
        return
    place = pair[0] if sign < 0 else pair[1]
    share = now if sign < 0 else 1.0 - now
    _add(
        case,
        found,
        "pack-share",
        place,
        j,
        title=f"{place} gives {100 * share:.0f} % of the current, "
        f"{100 * (before if sign < 0 else 1 - before):.0f} % before",
        quantity="share of the current",
        unit="%",
        rise_unit="points",
        scale=-100.0,
        level=Level.WATCH,
        before=100.0 * (before if sign < 0 else 1.0 - before),
        now=100.0 * share,
    )


def _out(case: Case, pack: str, found: Found) -> None:
    """A pack that gave nothing in a flight although it used to take part."""
    first = case.first(pack)
    shares = case.table.column(pack, "share")[0]
    for k in range(first, len(case.flights)):
        own = float(shares[k])
        gone = own < _OUT_SHARE
        told = ("pack-out", pack) in case.flights[k].seen
        earlier = shares[:k][np.isfinite(shares[:k])]
        took_part = earlier.size > 0 and float(np.median(earlier)) > _PART_SHARE
        if not (gone or told) or not took_part:
            continue
        flights = [
            i
            for i in range(k, len(case.flights))
            if ("pack-out", pack) in case.flights[i].seen or shares[i] < _OUT_SHARE
        ]
        last = flights[-1] == len(case.flights) - 1
        words = WORDS["pack-out"]
        often = "1 flight" if len(flights) == 1 else f"{len(flights)} flights"
        found.findings.append(
            Finding(
                code="pack-out",
                level=Level.GROUND if last or len(flights) > 1 else Level.WATCH,
                place=pack,
                title=f"{pack} gave no current in {often}"
                + ("" if last else "; it came back, and no repair is noted since"),
                evidence={
                    "flights_with": len(flights),
                    "share": own if np.isfinite(own) else None,
                    "usual_share": float(np.median(earlier)),
                    "flights_since": len(case.flights) - k,
                },
                explanations=words.explanations,
                confirm=words.confirm,
                advice=words.advice,
                since_flight=case.listed[k].id,
            )
        )
        return


def _supply(case: Case, packs: Sequence[str], found: Found) -> None:
    """Dips of bus or packs that the packs did not explain, flight after flight."""
    root = case.aircraft.root or "bus"
    per_place = [falls_at(case, p, _SUPPLY) for p in dict.fromkeys([root, *packs])]
    counts = [max(column) for column in zip(*per_place, strict=True)]
    first = case.first(root, *packs)
    burst = judge_counts(counts, [], first=first, chance=case.watch_chance)
    if burst is None:
        return
    strict = judge_counts(counts, [], first=first, chance=case.ground_chance)
    depths = [d for p in (root, *packs) if (d := deepest_at(case, p, _SUPPLY)) is not None]
    found.findings.append(
        counted_finding(
            case,
            "supply-dips",
            root,
            burst,
            grave=strict is not None and burst.flights >= 2,
            title=f"{root} dipped under load more than its packs and their resistance explain",
            deepest=max(depths, default=None),
        )
    )


def _counter(case: Case, place: str, found: Found) -> None:
    y, se = _log(case, place, "counter_ratio")
    at = np.flatnonzero(np.isfinite(y))
    if at.size == 0:
        return
    part = Part(name="counter_ratio", at=at, y=y[at], se=se[at], sigma=_COUNTER_SIGMA)
    gate = _COUNTER_PCT / 100.0
    first = case.first(place)
    result = _beyond(case, part, first, signs=(1.0, -1.0), gate=gate, logarithmic=True)
    if result is None:
        return
    j, sign = result
    more = "more" if sign > 0 else "less"
    _add(
        case,
        found,
        "capacity-mismatch",
        place,
        j,
        title=f"{place}: the counter says {100 * j.now:.0f} % {more} than its current "
        "adds up to, compared with earlier flights",
        quantity="counter over current",
        unit="",
        rise_unit="%",
        scale=100.0 * sign,
        level=Level.WATCH,
    )


def _add(
    case: Case,
    found: Found,
    code: str,
    place: str,
    j: Judgement,
    *,
    title: str,
    quantity: str,
    unit: str,
    rise_unit: str,
    scale: float,
    level: Level,
    before: float | None = None,
    now: float | None = None,
) -> None:
    assert j.onset is not None
    since = int(j.at[j.onset])
    words = WORDS[code]
    found.trends.append(trend_of(code, place, j, quantity=quantity, unit=rise_unit, scale=scale))
    found.findings.append(
        Finding(
            code=code,
            level=level,
            place=place,
            title=title,
            evidence={
                "change": scale * j.now,
                "kind": "one step" if j.step else "gradual",
                "flights_since": len(case.flights) - since,
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
                quantity=quantity,
                unit=unit,
                rise_unit=rise_unit,
                scale=scale,
                level=level,
                limit=None,
                before=before,
                now=now,
            ),
        )
    )
