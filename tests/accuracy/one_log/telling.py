"""What the review of one log told of what was planted in it."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Limits
from telemetry.app.pipeline import review
from telemetry.importer import read_log
from telemetry.results import Finding, Level, OutcomeKind, Review
from tests.accuracy.one_log.making import Planted

LIMITS = Limits()
#: A stated lowest voltage may differ from the true one by what a sensor is off, V.
_SENSOR_V = 0.1
#: A pack is low that began with this much of its charge less than the other.
_LOW = 0.08
_LOW_SUPPLY = ("undervoltage", "margin-low")
# What came of a visible fault.
FOUND, PLACE_WRONG, OTHERWISE, ACCUSED = "found", "place wrong", "otherwise", "accused"
EXCUSED, UNKNOWN, SILENT = "excused", "unknown", "silent"


@dataclass(frozen=True, kw_only=True)
class Told:
    """One finding.

    Attributes
    ----------
    code, place, level : str
    also : list of str
        Other places with it.
    cause : str
        The kind of the first of its causes.
    ranked, follows : bool
        Whether the log makes that cause the likeliest; whether it follows from another finding.
    so : bool
        Whether the maker knows it to be truly so.
    """

    code: str
    place: str
    also: list[str]
    level: str
    cause: str
    ranked: bool
    follows: bool
    so: bool

    @property
    def accuses(self) -> bool:
        """Whether it is at watch or above."""
        return Level(self.level) >= Level.WATCH

    def at(self, places: Sequence[str]) -> bool:
        """Whether it names one of these places."""
        return not {self.place, *self.also}.isdisjoint(places)


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One log, whether its fault was visible, and what it was told.

    Attributes
    ----------
    kind : str
    seed, draws : int
        The last of the draws is this log.
    update_s : float
    where : str
    places : list of str
        Where the fault may rightly be told.
    visible, full : bool
        Whether the oracle sees the fault, and whether all columns are there.
    sure, size, limit : float
        What the oracle saw.
    verdict, came_to : str
        The verdict, and for a fault one of the words above.
    told : list of Told
    """

    kind: str
    seed: int
    draws: int
    update_s: float
    where: str
    places: list[str]
    visible: bool
    full: bool
    sure: float = 0.0
    size: float = 0.0
    limit: float = 0.0
    verdict: str = ""
    came_to: str = ""
    told: list[Told]


def told(p: Planted) -> tuple[str, str, list[Told]]:
    """Read and review a log: its verdict, what came of its fault, its findings."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of libraries, on odd columns: not what is measured here
        found = review(read_log(p.path))
    low = any(f.code in _LOW_SUPPLY and _is_so(f, p) for f in found.findings)
    findings = [
        Told(
            code=f.code,
            place=f.place or "",
            also=list(f.also),
            level=str(f.level),
            cause=_first_cause(f),
            ranked=f.ranked,
            follows=f.follows_code is not None,
            so=bool(_is_so(f, p)) or (low and _is_loss(f)),
        )
        for f in found.findings
        if f.level >= Level.WATCH or f.code in p.kind.codes
    ]
    return str(found.verdict), came_to(p, found, findings) if p.kind.sight else "", findings


def came_to(p: Planted, found: Review, findings: Sequence[Told]) -> str:
    """What came of a fault, in one word."""
    least = Level.CLEAR if p.kind.noted else Level.WATCH
    own = [t for t in findings if t.code in p.kind.codes and Level(t.level) >= least]
    accusing = [t for t in findings if t.accuses]
    if any(t.at(p.places) for t in own):
        return FOUND
    if any(t.at(p.places) for t in accusing):
        return OTHERWISE
    if own:
        return PLACE_WRONG
    if accusing:
        return ACCUSED
    if found.verdict is Level.UNKNOWN:
        return EXCUSED if _not_judged(p, found) else UNKNOWN
    return SILENT


def _not_judged(p: Planted, found: Review) -> bool:
    """Whether the fault's best check was not judged where it is, for a reason given."""
    own = [c for c in found.checks if c.code == p.kind.codes[0] and c.place in (*p.places, None)]
    return bool(own) and all(c.outcome is OutcomeKind.NOT_JUDGED for c in own)


def _first_cause(f: Finding) -> str:
    return str(f.causes[0].kind) if f.causes else ""


def _is_so(f: Finding, p: Planted) -> bool:
    """Whether the maker knows a measure to be right: no false accusation."""
    place, evidence = f.place or "", f.evidence
    lowest_v = p.lowest_v.get(place, np.inf)
    if f.code == "undervoltage":
        return lowest_v <= _number(evidence.get("level_v"))
    if f.code == "margin-low" and "lowest_v" in evidence:
        return lowest_v <= _number(evidence["lowest_v"]) + _SENSOR_V
    if f.code == "margin-low" and evidence.get("case") == "pack-lost":
        near_v = LIMITS.margin_ground_v if f.level is Level.GROUND else LIMITS.margin_watch_v
        return p.one_lost_v().get(place, np.inf) <= _number(evidence["restart_v"]) + near_v
    if f.code == "pack-low" and place in p.charge:
        return p.charge[place] < max(p.charge.values()) - _LOW
    return False


def _is_loss(f: Finding) -> bool:
    """Whether it tells how much of the supply's voltage load took: what made a low supply low."""
    mohm, sound = (f.evidence.get(k) for k in ("low_mohm", "sound_mohm"))
    beyond_sound = sound is not None and _number(mohm) > _number(sound)
    lost = f.code == "source-resistance-high" and "low_drop_pct" in f.evidence
    return lost and "resistance_ratio" not in f.evidence and not beyond_sound


def _number(value: float | int | str | None) -> float:
    return float(value) if isinstance(value, int | float) else np.nan
