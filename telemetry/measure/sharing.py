"""How the packs carried the load of one flight together, worked out once for all who ask."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from telemetry.aircraft import Aircraft
from telemetry.measure.packs import SOMETHING, pack_currents
from telemetry.model.log import FloatArray
from telemetry.numerics.intervals import Interval, likeness
from telemetry.numerics.spans import complement, merge
from telemetry.readings import Reading, Readings, block_means
from telemetry.results import WORKING_PHASES, PackOut, Phase, PhaseKind

Stretches = tuple[tuple[float, float], ...]

# Sharing is judged where the total is above a third of its 95th percentile: ideal diodes share
# unequally at light load (heuristic).
_JUDGED = 1 / 3
_LEAST_BLOCKS = 8
# A slope, a level and a parabola in time are fitted to the blocks.
_OF_SLOPE = 4
# Current into a pack that no sensor's zero makes, A, over this part of the log (heuristic).
_BACK_A, _A_WHILE = 0.1, 0.05
# Gain error of a current sensor (common practice, no source: 1 to 2 %); that of two together
# moves a share s by s (1 - s) times this.
_TWO_GAINS = 0.02 * math.sqrt(2)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackShare:
    """One pack's share of the current under load.

    Attributes
    ----------
    place : str
    share : Interval
        Of the charge drawn while it was judged, 0 to 1.
    of_changes : Interval or None
        Of a change of the total current while all give: what the resistances of the packs' paths
        make it, whatever their charge and set-points. None where it hardly moved then.
    judged_s : float
        For how long.
    off_balance : bool
        Whether a shared pack of a pair surely gives more or less than the limits allow.
    """

    place: str
    share: Interval
    of_changes: Interval | None
    judged_s: float
    off_balance: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharing:
    """How the packs carried the load of one flight together.

    Attributes
    ----------
    outs : tuple of PackOut
        Where one gave nothing.
    of_flight : tuple of PackShare
        Shares of all that was drawn, outs included: in flight, in a log without one in stirs.
    giving : tuple of PackShare
        The same, without the outs: while every pack could give.
    under_load : tuple of PackShare
        As ``giving``, in flight and stirs together.
    """

    outs: tuple[PackOut, ...] = ()
    of_flight: tuple[PackShare, ...] = ()
    giving: tuple[PackShare, ...] = ()
    under_load: tuple[PackShare, ...] = ()


def sharing_of(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase], outs: Sequence[PackOut]
) -> Sharing:
    """The packs of one flight; shares over stretches that are alike are worked out once.

    Parameters
    ----------
    readings : Readings
        Of the flight.
    aircraft : Aircraft
    phases : sequence of Phase
    outs : sequence of PackOut
        Of the same flight.
    """
    loaded = [p for p in phases if p.kind in WORKING_PHASES]
    whole = loaded_stretches(phases)
    asked = (whole, loaded_stretches(phases, outs), _without(loaded, outs))
    found = {spans: pack_shares(readings, aircraft, spans) for spans in dict.fromkeys(asked)}
    of_flight, giving, under_load = (found[spans] for spans in asked)
    return Sharing(outs=tuple(outs), of_flight=of_flight, giving=giving, under_load=under_load)


def loaded_stretches(phases: Sequence[Phase], outs: Sequence[PackOut] = ()) -> Stretches:
    """Start and end, s, of the flight, in a log without one of the stirs; without the outs."""
    for kind in (PhaseKind.FLIGHT, PhaseKind.STIR):
        if loaded := [p for p in phases if p.kind is kind]:
            return _without(loaded, outs)
    return ()


def _without(phases: Sequence[Phase], outs: Sequence[PackOut]) -> Stretches:
    away = merge([(o.start_s, o.end_s) for o in outs], 0.0)
    return tuple(part for p in phases for part in complement(away, p.start_s, p.end_s))


def pack_shares(
    readings: Readings, aircraft: Aircraft, spans: Sequence[tuple[float, float]]
) -> tuple[PackShare, ...]:
    """Share of each pack in the current, over stretches under load.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
        A standby pack shares nothing by design and is never off balance.
    spans : sequence of (float, float)
        Stretches in which to judge, s.

    Returns
    -------
    tuple of PackShare
        One for each pack; empty where fewer than two packs report a current, or the load was too
        short to judge. Where all but one report theirs and the bus reports the total, that one
        gives the rest.
    """
    flows = pack_currents(readings, aircraft)
    if flows is None or not spans:
        return ()
    block_s = max(2.0, *(4.0 * (r.update_s or readings.row_s) for r in flows.values()))
    columns: dict[str, list[FloatArray]] = {name: [] for name in flows}
    begin_s = []
    for start, end in spans:
        edges = np.arange(start, end + 1e-9, block_s)
        begin_s.append(edges[:-1])
        for name, r in flows.items():
            columns[name].append(block_means(r.t, r.v, edges))
    means = np.vstack([np.concatenate(c) for c in columns.values()])
    known = np.isfinite(means).all(axis=0)
    means, at_s = means[:, known], np.concatenate(begin_s)[known]
    if means.shape[1] < _LEAST_BLOCKS:
        return ()
    total = means.sum(axis=0)
    judged = total > _JUDGED * np.quantile(total, 0.95)
    if judged.sum() < _LEAST_BLOCKS or total[judged].min() <= 0:
        return ()
    step = max(r.resolution or 0.0 for r in flows.values())
    # One that a diode or a regulator holds off takes no part of a change, however good its path.
    # Where one charges another nothing holds it off, and what it gives picks no blocks.
    all_give = judged & (means - step > SOMETHING * total).all(axis=0)
    if any(_flows_back(r, step) for r in flows.values()):
        all_give = judged
    told = all_give.sum() >= _LEAST_BLOCKS
    roles = {p.name: p.role for p in aircraft.packs}
    pair = sum(role == "shared" for role in roles.values()) == 2
    band = aircraft.limits.share_points / 100
    out = []
    for name, flow in zip(columns, means, strict=True):
        share = ratio_of_sums(flow[judged], total[judged], step)
        beyond = share.low > 0.5 + band or share.high < 0.5 - band
        out.append(
            PackShare(
                place=name,
                share=share,
                of_changes=slope_of_change(flow[all_give], total[all_give], at_s[all_give])
                if told
                else None,
                judged_s=float(judged.sum()) * block_s,
                off_balance=pair and roles.get(name) == "shared" and beyond,
            )
        )
    return tuple(out)


def _flows_back(r: Reading, step: float) -> bool:
    """Whether current surely flowed into a pack for a while: no diode lies before it."""
    return bool(np.quantile(r.v, _A_WHILE) < -max(_BACK_A, 1.5 * step))


def ratio_of_sums(part: FloatArray, whole: FloatArray, step: float) -> Interval:
    """Ratio of sums with its interval; neighbouring blocks may be alike.

    Besides the scatter it holds a zero that is off by half a step in each sensor.
    """
    ratio = float(part.sum() / whole.sum())
    rest = part - ratio * whole
    half = 1.96 * math.sqrt(float((rest**2).sum()) * likeness(rest)) / float(whole.sum())
    zero = math.hypot(ratio, 1 - ratio) * step / 2 / float(whole.mean())
    return with_gain_errors(ratio, math.hypot(half, zero))


def slope_of_change(part: FloatArray, whole: FloatArray, at_s: FloatArray) -> Interval | None:
    """Change of the part by change of the whole at these instants, with its interval.

    What each gives at rest moves slowly with its charge: a parabola in time takes it out.
    """
    if whole.size <= _OF_SLOPE:
        return None
    away = (at_s - at_s.mean()) / max(float(np.ptp(at_s)), 1e-9)
    drift = np.stack([np.ones(at_s.size), away, away**2], axis=1)
    both = np.stack([part, whole], axis=1)
    left, moved = (both - drift @ np.linalg.lstsq(drift, both, rcond=None)[0]).T
    sxx = float((moved**2).sum())
    if sxx <= 1e-12:
        return None
    slope = float((moved * left).sum()) / sxx
    rest = left - slope * moved
    free = part.size - _OF_SLOPE
    half = 2.0 * math.sqrt(float((rest**2).sum()) / free / sxx * likeness(rest))
    # Told to less than a quarter either way it tells nothing (heuristic).
    return None if half > 0.25 else with_gain_errors(slope, half)


def with_gain_errors(share: float, half: float) -> Interval:
    """A share whose half width holds what the gains of both sensors may be off."""
    return Interval.around(share, math.hypot(half, _TWO_GAINS * abs(share * (1 - share))))
