"""Resistance of packs across flights: one against the other, one set against others, all of them.

Of two packs each is held against the other in the same flight, so that cold, which works on both,
is in neither. What rises in both is held against earlier flights, with temperature taken out where
it is logged. Where sets of packs take turns, each is held against the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

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
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.packs.sets import (
    AGAINST_SIGMA,
    OfSet,
    against_part,
    alone_part,
    daily,
    is_warmth_logged,
    label_of,
    log_resistance,
    of_all,
    set_evidence,
    set_name,
    weak_set,
    with_warmth,
)
from telemetry.model.channels import PlaceKind
from telemetry.model.log import FloatArray
from telemetry.results import Level, NotJudged
from telemetry.trends.drops import drop_parts, feature_part
from telemetry.trends.evidence import Judgement
from telemetry.trends.parts import EvidencePart
from telemetry.trends.turns import PackSets, against_others
from telemetry.trends.warmth import OF_A_DAY, YEAR_SD

CODE = "source-resistance-rising"
# Limits of this project: a pack's resistance up by this much of its own baseline.
SOURCE_WATCH_PCT, SOURCE_GROUND_PCT = 20.0, 100.0
_PATH_SIGMA_MOHM = 2.0
_RECENT = 3
# A flight, or each of two packs, shows a change by this part of it (heuristic).
_MOST = 0.5
LOG_PACKS = "log voltage, current and used charge of each pack"
_LOG_WARMTH = "Log a temperature: cold cannot be told from age without one."

OF_A_SET = Words(
    (
        "{place} of this set ages",
        "resistance in the plug or lead of {place} of this set",
    ),
    "Measure the resistance of this set and of another one, both warm and at a known charge. Say "
    "which set is flown: busbook add LOG --packs NAME.",
    "Leave this set out until it is measured; replace it if its resistance is high.",
    grounded="Do not fly with this set until it is measured; replace it if its resistance is high.",
    kinds=(CauseKind.AGED, CauseKind.PACK_PATH),
)
OF_ALL = Words(
    (
        "the packs age",
        "cold packs",
        "resistance in what both share: a plug, a switch, a lead",
    ),
    "Measure the resistance of each pack warm and at a known charge, and compare with what it "
    f"had. {_LOG_WARMTH}",
    "Fly with warm packs and look again; replace packs whose resistance stays high.",
    kinds=(CauseKind.AGED, CauseKind.COLD, CauseKind.PACK_PATH),
)


class _Told(NamedTuple):
    """Where a rise is told and of what: at a pack, seen there or at the bus, against what."""

    place: str
    seen_at: str
    against: str | None = None
    also: tuple[str, ...] = ()
    logged: bool = True

    @property
    def name(self) -> str:
        """The packs it is about."""
        return " and ".join((self.place, *self.also))


def judge_against(
    history: AircraftHistory,
    pack: str,
    other: str,
    sets: PackSets,
    first: int,
    found: JudgedAcross,
) -> None:
    """Resistance of a pack against the other one's in the same flight."""
    part = against_part(history, pack, other)
    if part is None:
        _not_told(pack, found)
    else:
        _judge_one(history, part, sets, first, _Told(pack, pack, other), found)


def judge_alone(
    history: AircraftHistory,
    pack: str,
    sets: PackSets,
    first: int,
    found: JudgedAcross,
    *,
    seen_at: str | None = None,
) -> None:
    """Resistance of a pack against its own earlier flights, temperature taken out.

    Seen at its own terminals, or of an only pack at the bus: then with all that lies between.
    """
    part = alone_part(history, (seen_at or pack,))
    if part is not None:
        told = _Told(pack, seen_at or pack, logged=is_warmth_logged(history, part))
        _judge_one(history, with_warmth(history, part), sets, first, told, found)
    elif seen_at is None:
        _not_told(pack, found)


def _judge_one(
    history: AircraftHistory,
    part: EvidencePart,
    sets: PackSets,
    first: int,
    told: _Told,
    found: JudgedAcross,
) -> None:
    weak = weak_set(history, part, sets, first, told.place, sigma=AGAINST_SIGMA, logarithmic=True)
    j = _of_all(history, part, sets, weak, first, told)
    if j is None:
        why = f"{told.place}: fewer than three flights tell its resistance"
        found.not_judged.append(Unjudged((CODE,), told.place, NotJudged.TOO_FEW_FLIGHTS, why))
    else:
        found.trends.append(_trend(j, told))
    drafts = [_of_set(history, weak, sets, told), _of_every(history, j, told)]
    _keep_worst(drafts, found)


def judge_together(
    history: AircraftHistory, pair: tuple[str, str], sets: PackSets, first: int, found: JudgedAcross
) -> None:
    """Both of two packs against their own earlier flights: what neither shows against the other.

    Told where each of them rose by itself; it then stands for what either shows of it.
    """
    part = alone_part(history, pair)
    if part is None:
        return
    warm, logged = with_warmth(history, part), is_warmth_logged(history, part)
    told = _Told(pair[0], pair[0], also=pair[1:], logged=logged)
    weak = weak_set(history, warm, sets, first, told.place, sigma=AGAINST_SIGMA, logarithmic=True)
    j = _of_all(history, warm, sets, weak, first, told)
    singles = [p for place in pair if (p := alone_part(history, (place,))) is not None]
    if weak is not None and not _each_rose(
        [p for s in singles if (p := against_others(s.since(first), sets, weak.one)) is not None],
        weak.judgement,
    ):
        weak = None
    if j is not None and not _each_rose(
        [of_all(with_warmth(history, s.since(first)), sets, weak) for s in singles], j
    ):
        j = None
    if _keep_worst([_of_set(history, weak, sets, told), _of_every(history, j, told)], found):
        shown = weak.judgement if j is None and weak is not None else j
        found.trends.insert(0, _trend(shown, told)) if shown is not None else None


def _of_all(
    history: AircraftHistory,
    part: EvidencePart,
    sets: PackSets,
    weak: OfSet | None,
    first: int,
    told: _Told,
) -> Judgement | None:
    """What all sets but a weak one show; of packs that nothing else is held against, by days."""
    rest = of_all(part, sets, weak)
    rest = rest if told.against else daily(history, rest)
    return history.judge([rest], first, told.place, logarithmic=True)


def _each_rose(parts: Sequence[EvidencePart], j: Judgement) -> bool:
    """Whether each of some packs rose by itself since the change, by what is to be watched.

    And by a good part of the mean: else the one that rose is told, and cold may be the other's.
    """
    if j.onset is None:
        return False
    since = int(j.at[j.onset])
    least = max(float(np.log1p(SOURCE_WATCH_PCT / 100.0)), _MOST * float(np.log1p(j.now)))
    for part in parts:
        before, after = part.bare[part.at < since], part.bare[part.at >= since]
        if not before.size or not after.size:
            return False
        if float(after[-_RECENT:].mean() - before.mean()) < least:
            return False
    return bool(parts)


def _keep_worst(drafts: Iterable[FindingDraft | None], found: JudgedAcross) -> bool:
    """Keep the worst, in place of what it stands for; False where there is none."""
    told = [d for d in drafts if d is not None]
    if not told:
        return False
    worst = max(told, key=lambda d: d.level.rank)
    places = (worst.place, *worst.also)
    found.drafts[:] = [d for d in found.drafts if d.code != CODE or d.place not in places]
    found.drafts.append(worst)
    return True


def _trend(j: Judgement, told: _Told) -> JudgedTrend:
    of = " of both packs" if told.also else ""
    seen = "" if told.seen_at == told.place else f", seen at {told.seen_at}"
    return JudgedTrend(
        CODE,
        told.place,
        j,
        quantity=f"rise of source resistance{of}{seen}",
        unit="%",
        scale=100.0,
        watch=SOURCE_WATCH_PCT,
        ground=SOURCE_GROUND_PCT,
    )


def _of_every(history: AircraftHistory, j: Judgement | None, told: _Told) -> FindingDraft | None:
    """A rise that every set shows, or packs of which no set is known."""
    if j is None or j.signal is None or j.onset is None or 100.0 * j.now < SOURCE_WATCH_PCT:
        return None
    if told.against is None and (_is_of_one_day(history, j) or _may_be_winter(history, told, j)):
        return None  # packs that lay in the cold, whatever the log's thermometer says
    # Cold may be all of it where nothing tells how cold it was.
    grave = j.sure and told.logged and 100.0 * j.now >= SOURCE_GROUND_PCT
    label = label_of(history, len(history.flights) - 1)
    named = f"{told.name} ({label})" if label and not told.also else told.name
    title = f"{named}: resistance {'of both ' if told.also else ''}up by {100.0 * j.now:.0f} %"
    title += f", measured against {told.against}" if told.against else ""
    title += f", with its way to {told.seen_at}" if told.seen_at != told.place else ""
    title += "" if told.logged else "; no temperature is logged, so it may be cold alone"
    how = "temperature taken out" if told.logged else "no temperature is logged"
    since, n = int(j.at[j.onset]), len(history.flights)
    return _established(
        history,
        j,
        told,
        level=Level.GROUND if grave else Level.WATCH,
        title=title,
        before=usual(history.table, told.seen_at, "source_mohm", j.first, since),
        now=usual(history.table, told.seen_at, "source_mohm", max(since, n - _RECENT), n),
        evidence={
            "compared_with": told.against or f"its own earlier flights, {how}",
            "temperature": None if told.against else "taken out" if told.logged else "not logged",
        },
        words=OF_ALL if told.also or not told.logged or not _is_pack(history, told) else None,
    )


def _is_of_one_day(history: AircraftHistory, j: Judgement) -> bool:
    """Whether the flights that show most of a change are of one day."""
    assert j.onset is not None
    shown = j.at[j.onset :][j.rise[j.onset :] >= _MOST * j.now]
    days = [history.day(int(k)) for k in shown]
    return len(set(days)) == 1 and (days[0] is not None or len(days) <= OF_A_DAY)


def _may_be_winter(history: AircraftHistory, told: _Told, j: Judgement) -> bool:
    """Whether from summer to winter could be all of it: neither temperature nor date tells."""
    dated = any(history.day(int(k)) is not None for k in j.at)
    return not told.logged and not dated and j.now < np.expm1(2.0 * YEAR_SD)


def _is_pack(history: AircraftHistory, told: _Told) -> bool:
    return history.aircraft.kind(told.place) is PlaceKind.PACK


def _of_set(
    history: AircraftHistory, weak: OfSet | None, sets: PackSets, told: _Told
) -> FindingDraft | None:
    """A rise of one set against the others."""
    if weak is None or 100.0 * weak.judgement.now < SOURCE_WATCH_PCT:
        return None
    j = weak.judgement
    assert j.onset is not None
    since, own = int(j.at[j.onset]), sets.flights(weak.one)
    mohm = np.exp(log_resistance(history, told.seen_at)[0])
    before, now = (mohm[own[own < since]], mohm[own[own >= since]][-_RECENT:])
    return _established(
        history,
        j,
        told,
        level=Level.GROUND if j.sure and 100.0 * j.now >= SOURCE_GROUND_PCT else Level.WATCH,
        title=f"{told.name} of {set_name(sets, weak.one)}: resistance up by {100.0 * j.now:.0f} % "
        "against the other sets",
        before=_mean(before),
        now=_mean(now),
        evidence={"compared_with": "the other sets", **set_evidence(sets, weak.one)},
        words=OF_A_SET,
    )


def _mean(x: FloatArray) -> float | None:
    known = x[np.isfinite(x)]
    return float(known.mean()) if known.size else None


def _established(
    history: AircraftHistory,
    j: Judgement,
    told: _Told,
    *,
    level: Level,
    title: str,
    before: float | None,
    now: float | None,
    evidence: Mapping[str, float | int | str | None],
    words: Words | None,
) -> FindingDraft:
    draft = established(
        history,
        CODE,
        told.place,
        j,
        level=level,
        title=title,
        quantity="source resistance",
        unit="mOhm",
        rise_unit="%",
        scale=100.0,
        limit=SOURCE_GROUND_PCT if level is Level.WATCH else None,
        before=before,
        now=now,
        evidence=evidence,
    )
    return replace(draft, also=told.also, words=words)


def _not_told(pack: str, found: JudgedAcross) -> None:
    why = f"{pack}: no flight tells its resistance"
    found.not_judged.append(Unjudged((CODE,), pack, NotJudged.UNCERTAIN, why, LOG_PACKS))


def judge_path(history: AircraftHistory, pack: str, first: int, found: JudgedAcross) -> None:
    """What lies between a pack and the bus: switch, plug, diode."""
    root = history.aircraft.root or "bus"
    if pack not in history.table.current_places or root == pack:
        return
    fitted = feature_part(history.table, pack, "path_mohm", _PATH_SIGMA_MOHM)
    n = len(history.flights)
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
            CODE,
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
