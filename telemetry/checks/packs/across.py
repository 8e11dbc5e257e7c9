"""Packs across flights: resistance, the path to the bus, weakness, sharing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    Looked,
    Unjudged,
    established,
    least_change,
    trend_of,
    usual,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import Words
from telemetry.checks.needs import Needs, packs
from telemetry.checks.packs.capacity import WEAK_BY_CHARGE, capacity_seen, weak_by_charge
from telemetry.checks.packs.dividing import judge_way
from telemetry.checks.packs.sources import SOURCE_RESISTANCE_HIGH
from telemetry.checks.tree import packs_of, shared_packs
from telemetry.model.channels import Quantity
from telemetry.results import Level, NotJudged
from telemetry.trends.drops import drop_parts, feature_part
from telemetry.trends.measures import Measures
from telemetry.trends.parts import EvidencePart

FloatArray = NDArray[np.float64]

# Limits of this project: a pack's resistance up by this much of its own baseline.
SOURCE_WATCH_PCT, SOURCE_GROUND_PCT = 20.0, 100.0
_PATH_SIGMA_MOHM = 2.0
# Voltage after landing lower by this share than charge used and start voltage explain.
_WEAK_PCT = 2.0
# Scatter to begin with, from flight to flight: logarithm of a pack's resistance against the other
# pack's and against its own past; share; voltage after landing.
_AGAINST_SIGMA, _ALONE_SIGMA = 0.08, 0.12
_SHARE_SIGMA, _SHARE_WEIGHT = 0.06, 6.0
# The fuller pack gives more: share per volt between the packs at rest (heuristic).
_SHARE_PER_V, _SHARE_PER_V_SD = 1.0, 1.5
_END_SIGMA_V = 0.04
# Resistance of cells falls by 1 to 2 % a kelvin of warmth (common practice, no source).
_PER_KELVIN, _PER_KELVIN_SD = -0.015, 0.012
# Voltage after landing: 1 V/V with that at the start; with charge, V/Ah of a 4 Ah pack (heuristic).
_END_PER_START, _END_PER_START_SD = 0.9, 0.3
_END_PER_AH, _END_PER_AH_SD = -0.25, 0.2
_RISING, _WEAK = ("source-resistance-rising",), ("pack-weak",)
OF_PACKS = (*_RISING, *_WEAK)
_LOG_PACKS = "log voltage, current and used charge of each pack"


def judge_packs(history: AircraftHistory) -> JudgedAcross:
    """Findings source-resistance-rising and pack-weak, pack by pack."""
    found = JudgedAcross()
    packs = packs_of(history)
    if not packs:
        why = "packs: no place of the log is a pack"
        found.not_judged.append(Unjudged(OF_PACKS, None, NotJudged.NO_COLUMN, why, _LOG_PACKS))
    shared = shared_packs(history)
    for pack in packs:
        other = next((p for p in shared if p != pack), None) if len(shared) == 2 else None
        _source(history, pack, other, found)
        _path(history, pack, found)
        if len(packs) == 1 and not found.drafts:
            _source(history, pack, None, found, seen_at=history.aircraft.root or "bus")
        if other is not None and not any(f.place == pack for f in found.drafts):
            first = max(_first(history, p) for p in (pack, other))
            judge_way(history, pack, other, first, found)
        _weak(history, pack, found)
    return found


def judge_shares(history: AircraftHistory) -> JudgedAcross:
    """Finding pack-share: of two packs that share the load one gives less than it used to."""
    found = JudgedAcross()
    shared = shared_packs(history)
    if len(shared) == 2:
        _share(history, (shared[0], shared[1]), found)
    else:
        why = "packs: it takes two that share the load"
        found.not_judged.append(
            Unjudged(("pack-share",), None, NotJudged.NO_COUNTERPART, why, _LOG_PACKS)
        )
    return found


def _first(history: AircraftHistory, pack: str) -> int:
    """First flight of the baseline: since the last note, and since this very pack was fitted."""
    first = history.first(pack)
    label = history.flights[-1].labels.get(pack)
    others = (k for k, m in enumerate(history.flights) if m.labels.get(pack) != label)
    return max([first, *(k + 1 for k in others)])


def _log(history: AircraftHistory, place: str, feature: str) -> tuple[FloatArray, FloatArray]:
    """Logarithm of a positive feature, flight by flight, and its standard error."""
    value, se = history.table.column(place, feature)
    value = np.where(value > 0, value, np.nan)
    return np.log(value), np.minimum(se / value, 1.0)


def _source(
    history: AircraftHistory,
    pack: str,
    other: str | None,
    found: JudgedAcross,
    *,
    seen_at: str | None = None,
) -> None:
    """Resistance of a pack, against the other one's where two share: cold works on both.

    Seen at its own terminals, or of an only pack at the bus: then with all that lies between.
    """
    y, se = _log(history, seen_at or pack, "source_mohm")
    if other is not None:
        theirs = _log(history, other, "source_mohm")
        y, se = y - theirs[0], np.hypot(se, theirs[1])
    at = np.flatnonzero(np.isfinite(y))
    if at.size == 0:
        if seen_at is None:
            why = f"{pack}: no flight tells its resistance"
            found.not_judged.append(Unjudged(_RISING, pack, NotJudged.UNCERTAIN, why, _LOG_PACKS))
        return
    part = EvidencePart(
        name="source_mohm",
        at=at,
        y=y[at],
        se=se[at],
        sigma=_ALONE_SIGMA if other is None else _AGAINST_SIGMA,
    )
    part = _with_warmth(history, part) if other is None else part
    first = max(_first(history, pack), 0 if other is None else _first(history, other))
    j = history.judge([part], first, pack, logarithmic=True)
    if j is None:
        why = f"{pack}: fewer than three flights tell its resistance"
        found.not_judged.append(Unjudged(_RISING, pack, NotJudged.TOO_FEW_FLIGHTS, why))
        return
    found.trends.append(
        trend_of(
            "source-resistance-rising",
            pack,
            j,
            quantity="rise of source resistance" + (f", seen at {seen_at}" if seen_at else ""),
            unit="%",
            scale=100.0,
            watch=SOURCE_WATCH_PCT,
            ground=SOURCE_GROUND_PCT,
        )
    )
    pct = 100.0 * j.now
    if j.signal is None or j.onset is None or pct < SOURCE_WATCH_PCT:
        return
    level = Level.GROUND if j.sure and pct >= SOURCE_GROUND_PCT else Level.WATCH
    since, n = int(j.at[j.onset]), len(history.flights)
    label = history.flights[-1].labels.get(pack)
    found.drafts.append(
        established(
            history,
            "source-resistance-rising",
            pack,
            j,
            level=level,
            title=f"{pack}{f' ({label})' if label else ''}: resistance up by {pct:.0f} %"
            + (f", measured against {other}" if other else "")
            + (f", with its way to {seen_at}" if seen_at else ""),
            quantity="source resistance",
            unit="mOhm",
            rise_unit="%",
            scale=100.0,
            limit=SOURCE_GROUND_PCT if level is Level.WATCH else None,
            before=usual(history.table, seen_at or pack, "source_mohm", j.first, since),
            now=usual(history.table, seen_at or pack, "source_mohm", max(since, n - 3), n),
            evidence={"compared_with": other or "its own earlier flights, temperature taken out"},
        )
    )


def _with_warmth(history: AircraftHistory, part: EvidencePart) -> EvidencePart:
    """The part with temperature as a covariate; where it was not logged it explains nothing."""
    warmth = np.array([_warmth(history.flights[int(k)]) for k in part.at])
    known = np.isfinite(warmth)
    middle = float(warmth[known].mean()) if known.any() else 0.0
    return replace(
        part,
        design=np.where(known, warmth - middle, 0.0)[:, None],
        slope=np.array([_PER_KELVIN]),
        slope_sd=np.array([_PER_KELVIN_SD]),
    )


def _warmth(m: Measures) -> float:
    return float("nan") if m.temperature_c is None else m.temperature_c


def _path(history: AircraftHistory, pack: str, found: JudgedAcross) -> None:
    """What lies between a pack and the bus: switch, plug, diode."""
    root = history.aircraft.root or "bus"
    if pack not in history.table.current_places or root == pack:
        return
    fitted = feature_part(history.table, pack, "path_mohm", _PATH_SIGMA_MOHM)
    n, first = len(history.flights), _first(history, pack)
    if fitted is None or fitted.since(first).at.size < 0.5 * (n - first):
        return  # behind a regulator the drop says nothing of a resistance
    parts = [*drop_parts(history.table, root, pack, pack, fit="", held_off=True), fitted]
    j = history.judge(parts, first, pack)
    if j is None or j.signal is None or j.now < history.limits.branch_watch_mohm:
        return
    grave = j.sure and j.now >= history.limits.branch_ground_mohm
    found.drafts.append(
        established(
            history,
            "source-resistance-rising",
            pack,
            j,
            level=Level.GROUND if grave else Level.WATCH,
            title=f"{pack}: {j.now:.0f} mOhm more than usual between it and {root} "
            "(switch, plug or diode)",
            quantity="drop per amp to the bus",
            unit="mOhm",
            rise_unit="mOhm",
            evidence={"of_the_path": True},
        )
    )


def _weak(history: AircraftHistory, pack: str, found: JudgedAcross) -> None:
    """Voltage after landing, with start voltage and charge used taken out."""
    end_v, start_v = (history.table.column(pack, f)[0] for f in ("end_v", "start_v"))
    used_ah = history.table.column(pack, "used_mah")[0] / 1000.0
    at = np.flatnonzero(np.isfinite(end_v + start_v + used_ah))
    if at.size == 0:
        why = f"{pack}: no flight has its voltage at both ends and the charge used"
        found.not_judged.append(Unjudged(_WEAK, pack, NotJudged.UNLOGGED, why, _LOG_PACKS))
        return
    end_v, start_v, used_ah = end_v[at], start_v[at], used_ah[at]
    pack_of = history.aircraft.pack(pack)
    capacity_ah = (pack_of.capacity_mah if pack_of and pack_of.capacity_mah else 4000.0) / 1000.0
    per_ah = 4.0 / capacity_ah
    part = EvidencePart(
        name="end_v",
        at=at,
        y=end_v,
        se=np.zeros(at.size),
        sigma=_END_SIGMA_V,
        design=np.stack([start_v - start_v.mean(), used_ah - used_ah.mean()], axis=1),
        slope=np.array([_END_PER_START, _END_PER_AH * per_ah]),
        slope_sd=np.array([_END_PER_START_SD, _END_PER_AH_SD * per_ah]),
    )
    j = history.judge([part], _first(history, pack), pack, sign=-1.0)
    if j is None:
        why = f"{pack}: fewer than three flights tell how it ends them"
        found.not_judged.append(Unjudged(_WEAK, pack, NotJudged.TOO_FEW_FLIGHTS, why))
        return
    least_v = _WEAK_PCT / 100.0 * float(end_v.mean())
    told_v = least_change(float(j.sd[-1]), j.limit, least_v)
    found.looked.append(Looked("pack-weak", pack, f"{told_v:.2f} V less after landing"))
    if j.signal is None or j.now < least_v:
        return
    found.drafts.append(
        established(
            history,
            "pack-weak",
            pack,
            j,
            level=Level.WATCH,
            title=f"{pack} ends the flight {j.now:.2f} V lower than charge used and start explain",
            quantity="voltage after landing",
            unit="V",
            rise_unit="V",
            scale=-1.0,
        )
    )


def _share(history: AircraftHistory, pair: tuple[str, str], found: JudgedAcross) -> None:
    y = history.table.column(pair[0], "share")[0]
    at = np.flatnonzero(np.isfinite(y))
    if at.size == 0:
        why = "packs: no flight tells their shares of the current"
        found.not_judged += [
            Unjudged(("pack-share",), p, NotJudged.UNLOGGED, why, _LOG_PACKS) for p in pair
        ]
        return
    one, two = (history.table.column(p, "rest_v")[0][at] for p in pair)
    # The first pack's voltage at rest over the second's; 0 where not known.
    apart, y = np.nan_to_num(one - two), y[at]
    part = EvidencePart(
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
    first = max(_first(history, p) for p in pair)
    allowed = history.limits.share_points / 100.0
    for sign, place in ((-1.0, pair[0]), (1.0, pair[1])):
        j = history.judge([part], first, place, sign=sign)
        if j is None:
            why = f"{place}: fewer than three flights tell its share"
            few = Unjudged(("pack-share",), place, NotJudged.TOO_FEW_FLIGHTS, why)
            found.not_judged.append(few)
            continue
        usual_share = float(np.mean(y if place == pair[0] else 1.0 - y))
        until = min(allowed, max(usual_share - 0.5 + allowed, 0.0))
        told = 100.0 * least_change(float(j.sd[-1]), j.limit, until)
        found.looked.append(Looked("pack-share", place, f"{told:.0f} points less of the current"))
        if j.signal is None or j.onset is None:
            continue
        since = int(j.at[j.onset])
        before = float(np.mean(y[(at >= j.first) & (at < since)]))
        before = before if place == pair[0] else 1.0 - before
        now = before - j.now
        if abs(now - 0.5) < allowed and j.now < allowed:
            continue
        found.drafts.append(
            established(
                history,
                "pack-share",
                place,
                j,
                level=Level.WATCH,
                title=f"{place} gives {100 * now:.0f} % of the current, before "
                f"{100 * before:.0f} %",
                quantity="share of the current",
                unit="%",
                rise_unit="points",
                scale=-100.0,
                before=100.0 * before,
                now=100.0 * now,
            )
        )
        return


SOURCE_RESISTANCE_RISING = Check(
    code="source-resistance-rising",
    part=CheckPart.PACKS,
    rise_step=lambda limits: limits.branch_watch_mohm,
    question="Does a pack's resistance, or that of its path to the bus, rise?",
    meaning=SOURCE_RESISTANCE_HIGH.meaning,
    bench=SOURCE_RESISTANCE_HIGH.bench,
    words_across=Words(
        (
            "{place} ages",
            "resistance in the plug, switch or lead of {place}",
            "cold packs, where every pack rose on the same days",
        ),
        "Measure the pack's resistance warm and at a known charge; swap the packs and compare.",
        "Replace the pack if its resistance moves with it; else clean its plug and lead.",
        kinds=(CauseKind.AGED, CauseKind.PACK_PATH, CauseKind.COLD),
    ),
    across=(judge_packs,),
)

PACK_WEAK = Check(
    code="pack-weak",
    part=CheckPart.PACKS,
    question="Does a pack hold less than it should, or end its flights lower than charge used "
    "and start explain?",
    meaning="A pack holds less charge than the profile says, than the other of its pair, or than "
    "before: its voltage at rest falls further for what it gave.",
    bench="read each cell at rest; where none is below its floor, let a tester read the capacity.",
    words=WEAK_BY_CHARGE,
    words_across=Words(
        (
            "{place} has lost capacity",
            "it was not charged in full, or carried more flights than usual",
            "cold",
        ),
        "Read each cell at rest; where none is below its floor, let a tester read the capacity.",
        "Fly fewer flights on a charge, or replace the pack.",
        kinds=(CauseKind.LOST_CAPACITY, CauseKind.NOT_CHARGED, CauseKind.COLD),
    ),
    in_flight=(weak_by_charge,),
    needs=Needs(at=packs, own=(Quantity.VOLTAGE,), any_current=True),
    sees=capacity_seen,
    across=(judge_packs,),
    proof="packs",
)
