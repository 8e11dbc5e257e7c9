"""Packs across flights: resistance, the path to the bus, weakness, sharing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from telemetry.checks.aircraft_history import (
    AircraftHistory,
    JudgedAcross,
    Looked,
    Unjudged,
    established,
    least_change,
)
from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.check import Check, CheckPart
from telemetry.checks.draft import Words
from telemetry.checks.needs import Needs, packs
from telemetry.checks.packs.capacity import WEAK_BY_CHARGE, capacity_seen, weak_by_charge
from telemetry.checks.packs.dividing import judge_way
from telemetry.checks.packs.fading import judge_fading
from telemetry.checks.packs.rising import (
    LOG_PACKS,
    judge_against,
    judge_alone,
    judge_path,
    judge_together,
)
from telemetry.checks.packs.sets import (
    judge_apart,
    of_all,
    set_evidence,
    set_name,
    sets_of,
    weak_set,
)
from telemetry.checks.packs.sources import SOURCE_RESISTANCE_HIGH
from telemetry.checks.tree import packs_of, root_of, shared_packs
from telemetry.model.channels import Quantity
from telemetry.results import Level, NotJudged
from telemetry.trends.parts import EvidencePart
from telemetry.trends.turns import PackSets

FloatArray = NDArray[np.float64]

# Voltage after landing lower by this share than charge used and start voltage explain.
_WEAK_PCT = 2.0
# Scatter to begin with, from flight to flight: share; voltage after landing.
_SHARE_SIGMA, _SHARE_WEIGHT = 0.06, 6.0
# The fuller pack gives more: share per volt between the packs at rest (heuristic).
_SHARE_PER_V, _SHARE_PER_V_SD = 1.0, 1.5
_END_SIGMA_V = 0.04
# Voltage after landing: 1 V/V with that at the start; with charge, V/Ah of a 4 Ah pack (heuristic).
_END_PER_START, _END_PER_START_SD = 0.9, 0.3
_END_PER_AH, _END_PER_AH_SD = -0.25, 0.2
_WEAK = ("pack-weak",)
OF_PACKS = ("source-resistance-rising", *_WEAK)


def judge_packs(history: AircraftHistory) -> JudgedAcross:
    """Findings source-resistance-rising and pack-weak, pack by pack, and pack-share of two."""
    found = JudgedAcross()
    packs, shared = packs_of(history), shared_packs(history)
    root = root_of(history) or "bus"
    if not packs:
        why = "packs: no place of the log is a pack"
        codes = _WEAK if history.table.has(root, "source_mohm") else OF_PACKS
        found.not_judged.append(Unjudged(codes, None, NotJudged.NO_COLUMN, why, LOG_PACKS))
    sets = sets_of(history, packs, shared)
    first = {p: first_of_pack(history, p, sets) for p in packs}
    pair = (shared[0], shared[1]) if len(shared) == 2 else None
    of_pair = max((first[p] for p in shared), default=0)
    for pack in packs:
        other = next((p for p in pair or () if p != pack), None) if pack in shared else None
        if other is not None:
            judge_against(history, pack, other, sets, of_pair, found)
        else:
            judge_alone(history, pack, sets, first[pack], found)
    if pair is not None:
        judge_together(history, pair, sets, of_pair, found)
    if len(packs) == 1 and not found.drafts:
        judge_alone(history, packs[0], sets, first[packs[0]], found, seen_at=root)
    elif not any(history.table.has(p, "source_mohm") for p in packs):
        since = history.first(root, *packs)
        judge_alone(history, root, sets, since, found, seen_at=root)
    for pack in packs:
        judge_path(history, pack, first[pack], found)
        other = next((p for p in pair or () if p != pack), None) if pack in shared else None
        told = {p for f in found.drafts for p in (f.place, *f.also)}
        if other is not None and pack not in told:
            judge_way(history, pack, other, sets, of_pair, found)
        if not judge_fading(history, pack, sets, first[pack], found):
            judge_weakness(history, pack, sets, first[pack], found)
    judge_apart(history, shared or packs, sets, of_pair, found)
    if pair is not None:
        judge_share(history, pair, sets, of_pair, found)
    else:
        why = "packs: it takes two that share the load"
        found.not_judged.append(
            Unjudged(("pack-share",), None, NotJudged.NO_COUNTERPART, why, LOG_PACKS)
        )
    return found


def first_of_pack(history: AircraftHistory, pack: str, sets: PackSets) -> int:
    """First flight of the baseline: since the last note, and since this very pack was fitted.

    Where sets take turns, each has its own past.
    """
    first = history.first(pack)
    if sets.stated:
        return first
    label = history.flights[-1].labels.get(pack)
    others = (k for k, m in enumerate(history.flights) if m.labels.get(pack) != label)
    return max([first, *(k + 1 for k in others)])


def judge_weakness(
    history: AircraftHistory, pack: str, sets: PackSets, first: int, found: JudgedAcross
) -> None:
    """Voltage after landing, with start voltage and charge used taken out."""
    end_v, start_v = (history.table.column(pack, f)[0] for f in ("end_v", "start_v"))
    used_ah = history.table.column(pack, "used_mah")[0] / 1000.0
    at = np.flatnonzero(np.isfinite(end_v + start_v + used_ah))
    if at.size == 0:
        why = f"{pack}: no flight has its voltage at both ends and the charge used"
        found.not_judged.append(Unjudged(_WEAK, pack, NotJudged.UNLOGGED, why, LOG_PACKS))
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
        # Against the first, so that later flights change nothing of earlier ones.
        design=np.stack([start_v - start_v[0], used_ah - used_ah[0]], axis=1),
        slope=np.array([_END_PER_START, _END_PER_AH * per_ah]),
        slope_sd=np.array([_END_PER_START_SD, _END_PER_AH_SD * per_ah]),
    )
    weak = weak_set(history, part, sets, first, pack, sign=-1.0)
    j = history.judge([of_all(part, sets, weak)], first, pack, sign=-1.0)
    if j is None:
        why = f"{pack}: fewer than three flights tell how it ends them"
        found.not_judged.append(Unjudged(_WEAK, pack, NotJudged.TOO_FEW_FLIGHTS, why))
        return
    least_v = _WEAK_PCT / 100.0 * float(end_v.mean())
    told_v = least_change(float(j.sd[-1]), j.limit, least_v)
    found.looked.append(Looked("pack-weak", pack, f"{told_v:.2f} V less after landing"))
    which = pack
    more: dict[str, float | int | str | None] = {}
    if j.signal is None and weak is not None:
        j, which = weak.judgement, f"{pack} of {set_name(sets, weak.one)}"
        more = {"compared_with": "the other sets", **set_evidence(sets, weak.one)}
    if j.signal is None or j.now < least_v:
        return
    found.drafts.append(
        established(
            history,
            "pack-weak",
            pack,
            j,
            level=Level.WATCH,
            title=f"{which} ends the flight {j.now:.2f} V lower than charge used and start explain",
            quantity="voltage after landing",
            unit="V",
            rise_unit="V",
            scale=-1.0,
            evidence=more,
        )
    )


def judge_share(
    history: AircraftHistory,
    pair: tuple[str, str],
    sets: PackSets,
    first: int,
    found: JudgedAcross,
) -> None:
    """Of two packs that share the load one gives less than it used to; sets differ in it."""
    y = history.table.column(pair[0], "share")[0]
    at = np.flatnonzero(np.isfinite(y))
    if at.size == 0:
        why = "packs: no flight tells their shares of the current"
        found.not_judged += [
            Unjudged(("pack-share",), p, NotJudged.UNLOGGED, why, LOG_PACKS) for p in pair
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
        design=(apart - apart[0])[:, None],
        slope=np.array([_SHARE_PER_V]),
        slope_sd=np.array([_SHARE_PER_V_SD]),
    )
    part = of_all(part, sets, None)
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
