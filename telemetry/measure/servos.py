"""What the servos of a node draw, from the control columns, as far as it can be told apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from telemetry.aircraft import Aircraft, Servo
from telemetry.model.channels import Quantity
from telemetry.model.log import FloatArray
from telemetry.numerics.attribution import Attribution, attribute, unexplained
from telemetry.numerics.sampling import outside
from telemetry.readings import Reading, Readings
from telemetry.results import Phase, PhaseKind, ServoShare

BoolArray = NDArray[np.bool_]

# Moves of the sticks hang together for seconds; on the ground there are only few.
_BLOCK_S, _GROUND_BLOCK_S = 5.0, 2.5
_LEAST = 60  # readings of the current
# A servo follows its stick, and the telemetry both, within about this time (common practice, no
# source).
LAGS_S = np.arange(-0.2, 0.61, 0.1)
_TRAVEL, _HOLD = 0, 1
# Of a pulse for 1 % of travel to one side: 500 us for all of it (common practice, no source).
_PULSE_US = 5.0
# No hand turns a stick round more than about five times a second (common practice, no source).
_HAND_S = 0.1
# Without a profile a control counts as acting at a place if it draws at least this part of what the
# strongest there does: sticks of one stir move so much alike that a little is said of each
# (heuristic).
_LEAST_PART = 0.3
# What draws is not quite proportional to travel: kept to both sides of a range (heuristic).
_DOUBT = 0.1


def measure_servos(
    readings: Readings, aircraft: Aircraft, phases: Sequence[Phase]
) -> tuple[ServoShare, ...]:
    """Travel and hold current of the servos behind each current, by the controls that drive them.

    ``node current = rest + sum (a |rate of travel| + b |deflection| while flying)`` with
    non-negative coefficients, the rate averaged over the current's own interval. Servos on one
    control, and controls that move together, stay one group.

    Parameters
    ----------
    readings : Readings
    aircraft : Aircraft
        Servos of its profile tell which control acts at which node; without them every control
        may act everywhere, and only those are told that surely do.
    phases : sequence of Phase

    Returns
    -------
    tuple of ServoShare
        Empty where the log has no control columns. ``separable`` where a group is one servo.
        Their ranges are the travel's.
    """
    logged = [r for r in readings.of(Quantity.CONTROL) if r.size > _LEAST and np.ptp(r.v) > 0]
    controls = {r.place: in_percent_of_travel(r) for r in logged}
    if not controls:
        return ()
    out: list[ServoShare] = []
    ways = travel_sums(controls)
    ends = outermost_currents(readings, aircraft)
    told = {r.place for r in ends}
    for amps in ends:
        # The bus, or a lone current, also feeds the servos of nodes without one of their own.
        whole = aircraft.node(amps.place) is None and (
            len(ends) == 1 or amps.place == aircraft.root
        )
        below = tuple(s for s in aircraft.servos if whole and s.node not in told)
        servos = (*aircraft.servos_at(amps.place), *below)
        driven = servos_by_column(servos, controls)
        if servos and not driven:
            continue
        names = list(driven) if servos else list(controls)
        out += shares_at_node(amps, names, driven, controls, ways, phases)
    return tuple(out)


def in_percent_of_travel(r: Reading) -> Reading:
    """A control in % of its travel to one side: of pulses as is customary, else of its reach."""
    reach = float(np.abs(r.v - np.median(r.v)).max())
    one = {"%": 1.0, "us": _PULSE_US}.get(r.channel.unit, reach / 100.0)
    return replace(r, v=r.v / one)


def outermost_currents(readings: Readings, aircraft: Aircraft) -> list[Reading]:
    """Currents that hold no other current of the log: nodes', else the bus's, a lone pack's."""
    known = [r for r in readings.of(Quantity.CURRENT) if r.size >= _LEAST]
    places = {r.place for r in known}
    packs = {p.name for p in aircraft.packs}
    feeding = {up for n in aircraft.nodes if n.name in places for up in aircraft.feeders(n.name)}
    ends = [r for r in known if r.place not in packs and r.place not in feeding]
    return ends or (known if len(known) == 1 else [])


def servos_by_column(
    servos: Sequence[Servo], controls: dict[str, Reading]
) -> dict[str, tuple[Servo, ...]]:
    """Servos by the control column that drives their surface: its own name, else its kind's."""
    found: dict[str, tuple[Servo, ...]] = {}
    for servo in servos:
        name = servo.drives if servo.drives in controls else servo.surface
        if name in controls:
            found[name] = (*found.get(name, ()), servo)
    return found


class _Ways(NamedTuple):
    """What controls did up to each of their instants: straight lines between them.

    Attributes
    ----------
    names : list of str
    t : ndarray, shape (n,)
        Instants of all of them together, s.
    sums : ndarray, shape (n, 2 controls)
        Way of each up to the instant, in the control's unit; then the deflection of each from the
        middle (the median), without its sign, summed over time, in that unit times s.
    """

    names: list[str]
    t: FloatArray
    sums: FloatArray

    def of(self, names: list[str]) -> _Ways:
        """The same of some of the controls, in this order."""
        first = [self.names.index(n) for n in names]
        columns = [*first, *(k + len(self.names) for k in first)]
        return _Ways(names, self.t, np.ascontiguousarray(self.sums[:, columns]))

    def means(self, at: FloatArray, window_s: float) -> FloatArray:
        """Mean |rate of travel|, then mean deflection, over the window before each instant.

        Shape (m, 2 controls), in the control's unit per s, and in that unit.
        """
        return (self._up_to(at) - self._up_to(at - window_s)) / window_s

    def _up_to(self, at: FloatArray) -> FloatArray:
        before = np.clip(np.searchsorted(self.t, at, side="right") - 1, 0, self.t.size - 2)
        start = self.t.take(before)
        part = np.clip((at - start) / (self.t.take(before + 1) - start), 0.0, 1.0)[:, None]
        low = self.sums.take(before, axis=0)  # many times as quick as by an index
        return low + part * (self.sums.take(before + 1, axis=0) - low)


def travel_sums(controls: dict[str, Reading]) -> _Ways:
    """Travel and deflection of each control, summed up to each instant of any of them."""
    t = np.sort(np.concatenate([r.t for r in controls.values()]))
    t = t[np.diff(t, prepend=-np.inf) > 0]
    ways, areas = [], []
    for r in controls.values():
        away = np.abs(r.v - np.median(r.v))
        ways.append((r.t, np.abs(np.diff(r.v))))
        areas.append((r.t, 0.5 * (away[1:] + away[:-1]) * np.diff(r.t)))
    sums = [np.interp(t, at, np.concatenate(([0.0], np.cumsum(x)))) for at, x in (*ways, *areas)]
    return _Ways(list(controls), t, np.stack(sums, axis=1))


def shares_at_node(
    amps: Reading,
    names: list[str],
    driven: dict[str, tuple[Servo, ...]],
    controls: dict[str, Reading],
    ways: _Ways,
    phases: Sequence[Phase],
) -> list[ServoShare]:
    """Travel and hold current of the servos behind one current, by its controls."""
    window = max(amps.update_s or 0.0, 0.1)
    checks = [(p.start_s, p.end_s) for p in phases if p.kind is PhaseKind.REDUNDANCY_CHECK]
    keep = outside(amps.t, checks)
    for name in names:
        r = controls[name]
        keep &= (amps.t > r.t[0] + 1.0) & (amps.t < r.t[-1])
    t, y = amps.t[keep], amps.v[keep]
    if t.size < _LEAST:
        return []
    flying = np.zeros(t.size, dtype=bool)
    for p in phases:
        if p.kind is PhaseKind.FLIGHT:
            flying |= (t >= p.start_s) & (t < p.end_s)

    hold, own = bool(flying.any()), ways.of(names)

    def design(lag: float) -> FloatArray:
        means = own.means(t - lag, window)
        travel, away = means[:, : len(names)], means[:, len(names) :] * flying[:, None]
        return np.column_stack((np.ones(t.size), travel, *((away,) if hold else ())))

    whole = min((design(float(s)) for s in LAGS_S), key=lambda tried: unexplained(tried, y))
    block = np.unique(((t - t[0]) / _BLOCK_S).astype(np.intp), return_inverse=True)[1]
    kinds = (-1, *(_TRAVEL,) * len(names), *((_HOLD,) * len(names) if hold else ()))
    found = attribute(whole, y, block, kinds=kinds)
    travel = whole[:, : 1 + len(names)]
    if found.refused and hold:
        found = attribute(travel, y, block, kinds=kinds[: 1 + len(names)])
    shares = shares_of_attribution(amps.place, names, controls, driven, found)
    grounded = _on_ground(t, y, travel, names, ~flying)
    return [replace(s, ground_a_per_pct_s=grounded.get(s.controls)) for s in shares]


def _on_ground(
    t: FloatArray, y: FloatArray, travel: FloatArray, names: list[str], ground: BoolArray
) -> dict[tuple[str, ...], tuple[float, float, float]]:
    """Current for the travel of each group of controls on the ground, with its range by chance.

    There no air loads a surface: travel and holding are not mixed up.
    """
    moved = [k for k in range(1, travel.shape[1]) if travel[ground, k].any()]
    if ground.sum() < _LEAST or not moved:
        return {}
    block = np.unique(((t[ground] - t[0]) / _GROUND_BLOCK_S).astype(np.intp), return_inverse=True)
    kinds = (-1, *(_TRAVEL,) * len(moved))
    found = attribute(travel[ground][:, [0, *moved]], y[ground], block[1], kinds=kinds)
    own = {
        tuple(names[moved[k - 1] - 1] for k in group): (float(x), float(low), float(high))
        for group, x, low, high in zip(
            found.groups, found.coef, found.low, found.high, strict=False
        )
        if group != (0,)
    }
    return {c: told for c, told in own.items() if told[0] > 0}


def shares_of_attribution(
    place: str,
    names: list[str],
    controls: dict[str, Reading],
    driven: dict[str, tuple[Servo, ...]],
    found: Attribution,
) -> list[ServoShare]:
    """The records of what was attributed to the controls of one place."""
    out = []
    # By the numbers of the travel columns: those come before and fall to 0 and below.
    holds = {
        tuple(k - len(names) for k in group): float(coef)
        for group, coef in zip(found.groups, found.coef, strict=True)
    }
    travels = [k for k, group in enumerate(found.groups) if 1 <= group[0] <= len(names)]
    strongest = max((float(found.coef[k]) for k in travels), default=0.0)
    for n, group in enumerate(found.groups):
        if n not in travels:
            continue
        mine = [names[k - 1] for k in group]
        if not driven and (found.low[n] <= 0 or found.coef[n] < _LEAST_PART * strongest):
            continue
        servos = [s for name in mine for s in driven.get(name, ())]
        lost = max(lost_travel_factor(controls[name]) for name in mine)
        out.append(
            ServoShare(
                place=place,
                outputs=tuple(str(s.output) for s in servos),
                drives=" + ".join(mine),
                travel_a_per_pct_s=float(found.coef[n] / np.sqrt(lost)),
                hold_a_per_pct=holds.get(group),
                low=float(found.low[n]) * (1.0 - _DOUBT) / lost,
                high=float(found.high[n]) * (1.0 + _DOUBT),
                chance=relative_half_width(
                    float(found.coef[n]), float(found.low[n]), float(found.high[n])
                ),
                condition_index=found.condition_index,
                separable=sum(s.count for s in servos) == 1,
                controls=tuple(mine),
            )
        )
    return out


def relative_half_width(value: float, low: float, high: float) -> float | None:
    """Half width of an interval over its value; None where that is not above 0."""
    return 0.5 * (high - low) / value if value > 0 else None


def lost_travel_factor(control: Reading) -> float:
    """How many times as far the stick may have gone as its readings tell, at the most.

    Between two readings it may go and come back. By how much the way told grows from every other
    reading to every one, it may grow again with each halving of the interval, down to that in
    which no hand turns round.
    """
    step = float(np.median(np.diff(control.t)))
    whole = float(np.abs(np.diff(control.v)).sum())
    half = 0.5 * sum(float(np.abs(np.diff(control.v[k::2])).sum()) for k in (0, 1))
    if step <= _HAND_S or half <= 0:
        return 1.0
    return float(max(whole / half, 1.0) ** np.log2(step / _HAND_S))
