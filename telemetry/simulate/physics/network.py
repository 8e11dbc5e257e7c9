"""The network solved: packs with relaxation, paths, bus, leads, nodes, on a fine time grid.

At each instant a pack is an electromotive force (open-circuit voltage less the voltage on its
relaxation pairs) behind a series resistance; a place asks for a current ``A + G V``. Voltages and
currents of one instant follow algebraically: demands are folded up the tree of leads, the bus is
found where what the packs give equals what is asked (a monotone, piecewise linear equation), and
voltages are carried down again. Pack states (charge, relaxation) follow from the currents; the
solver walks through the recording in short blocks and repeats each until currents and states
agree. A unit whose voltage stays below its restart level goes off for its boot time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from telemetry.simulate.parts import AircraftModel, BoolArray, FloatArray
from telemetry.simulate.physics.supply import PackCondition, advance, relaxed

STARVED_OHM = 0.3  # beyond this a place's load is taken as a plain conductance
STARVED_V = 6.0
RESTART_HOLD_S = 0.02  # a unit rides through shorter holes on its capacitors
BLOCK_S = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """What is asked and what is in the way, on the fine grid.

    Attributes
    ----------
    constant_a, slope_s : array, shape (places, n)
        Current asked by the servos of a place at voltage V is ``constant_a + slope_s * V``.
    electronics_a : array, shape (places,)
        The unit's own draw, on even while it boots.
    branch_ohm : array, shape (places, n)
        Resistance to the feeding place; row 0, the bus, is zero.
    pack_open : array of bool, shape (packs, n)
        True where a pack is switched off: no current, its voltage still seen.
    lead_out : array of bool, shape (packs, n)
        True where its lead is out: neither current nor voltage at the unit's terminals.
    path_ohm : array, shape (packs, n)
        Resistance of the path over its plain value.
    limit_a : array, shape (packs, n)
        Current limit of a regulator.
    """

    constant_a: FloatArray
    slope_s: FloatArray
    electronics_a: FloatArray
    branch_ohm: FloatArray
    pack_open: BoolArray
    lead_out: BoolArray
    path_ohm: FloatArray
    limit_a: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class NetworkSolution:
    """True voltages and currents on the fine grid.

    Attributes
    ----------
    place_v, place_a : array, shape (places, n)
        Voltage at, and current into, the bus and each node (children included).
    pack_v, pack_a : array, shape (packs, n)
        Voltage at the unit's terminals (after the pack's lead) and current drawn.
    pack_charge, pack_c, path_c : array, shape (packs, n)
        State of charge 0 to 1; temperatures of pack and path, degC.
    on : array of bool, shape (places, n)
        False while a unit boots or is without power.
    restarts : tuple of (int, int)
        Place index and step at which a unit went down.
    """

    place_v: FloatArray
    place_a: FloatArray
    pack_v: FloatArray
    pack_a: FloatArray
    pack_charge: FloatArray
    pack_c: FloatArray
    path_c: FloatArray
    on: BoolArray
    restarts: tuple[tuple[int, int], ...]


def solve(
    aircraft: AircraftModel,
    demand: Demand,
    *,
    charge: dict[str, float],
    ambient_c: float,
    dt_s: float,
    block_s: float = BLOCK_S,
) -> NetworkSolution:
    """Voltages and currents of the whole machine.

    Parameters
    ----------
    aircraft : AircraftModel
    demand : Demand
        Arrays of n steps.
    charge : dict
        State of charge of each pack at the start, 0 to 1.
    ambient_c : float
        Temperature of air and packs at the start, degC.
    dt_s : float
        Grid step, s.
    block_s : float
        Length of the blocks; the result does not depend on it (beyond temperature's own step).

    Returns
    -------
    NetworkSolution
    """
    n = demand.constant_a.shape[1]
    places, packs = len(aircraft.places), len(aircraft.packs)
    parents = [-1, *(aircraft.places.index(node.fed_from) for node in aircraft.nodes)]
    restart_v = np.array([aircraft.bus_restart_v, *(x.restart_v for x in aircraft.nodes)])
    boot = [
        max(1, round(b / dt_s)) for b in (aircraft.bus_boot_s, *(x.boot_s for x in aircraft.nodes))
    ]
    hold = max(1, round(RESTART_HOLD_S / dt_s))
    states = [
        PackCondition(p, charge.get(p.name, 1.0), ambient_c, ambient_c, [0.0] * len(p.pairs))
        for p in aircraft.packs
    ]
    out = NetworkSolution(
        place_v=np.zeros((places, n)),
        place_a=np.zeros((places, n)),
        pack_v=np.zeros((packs, n)),
        pack_a=np.zeros((packs, n)),
        pack_charge=np.zeros((packs, n)),
        pack_c=np.zeros((packs, n)),
        path_c=np.zeros((packs, n)),
        on=np.ones((places, n), dtype=np.bool_),
        restarts=(),
    )
    is_open = demand.pack_open | demand.lead_out
    size = max(1, round(block_s / dt_s))
    for start in range(0, n, size):
        block = slice(start, min(n, start + size))
        while True:
            constant, slope, fold = _folded(demand, out.on[:, block], parents, block)
            sources, bus_v, amps, after = relaxed(
                states,
                demand.path_ohm[:, block],
                demand.limit_a[:, block],
                is_open[:, block],
                constant[0],
                slope[0],
                dt_s,
            )
            ohm = demand.branch_ohm[:, block]
            place_v, place_a = _carried_down(bus_v, constant, slope, fold, ohm, parents)
            down = _next_restart(place_v, out.on[:, block], restart_v, hold)
            if down is None:
                break
            place, step = down
            out.on[place, start + step : start + step + boot[place]] = False
        out.place_v[:, block], out.place_a[:, block] = place_v, place_a
        for i, (state, source) in enumerate(zip(states, sources, strict=True)):
            inside = source.emf_v - amps[i] * (source.inner_ohm + state.model.lead_ohm)
            out.pack_v[i, block] = np.where(demand.lead_out[i, block], 0.0, inside)
            out.pack_a[i, block] = amps[i]
            out.pack_charge[i, block] = after[i][0]
            out.pack_c[i, block] = state.temp_c
            out.path_c[i, block] = state.path_c
            advance(state, source, bus_v, amps[i], after[i], aircraft, ambient_c, dt_s)
    on = _without_vain_starts(out.on, 2 * hold)
    return NetworkSolution(
        place_v=out.place_v,
        place_a=out.place_a,
        pack_v=out.pack_v,
        pack_a=out.pack_a,
        pack_charge=out.pack_charge,
        pack_c=out.pack_c,
        path_c=out.path_c,
        on=on,
        restarts=_went_down(on),
    )


def _folded(
    demand: Demand, on: BoolArray, parents: list[int], block: slice
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Demand of each place including its children, as its parent sees the branch."""
    constant = demand.constant_a[:, block] * on + demand.electronics_a[:, None]
    slope = demand.slope_s[:, block] * on
    ohm = demand.branch_ohm[:, block]
    starved = ohm > STARVED_OHM
    if starved.any():
        slope = np.where(starved, slope + constant / STARVED_V, slope)
        constant = np.where(starved, 0.0, constant)
    dead = (demand.pack_open | demand.lead_out)[:, block].all(axis=0)
    if dead.any():
        constant, slope = constant * ~dead, slope * ~dead
    constant, slope = constant.copy(), slope.copy()
    fold = np.ones_like(ohm)
    for i in range(len(parents) - 1, 0, -1):
        fold[i] = 1.0 / (1.0 + ohm[i] * slope[i])
        constant[parents[i]] += constant[i] * fold[i]
        slope[parents[i]] += slope[i] * fold[i]
    fold[0] = 1.0
    return constant, slope, fold


def _carried_down(
    bus_v: FloatArray,
    constant: FloatArray,
    slope: FloatArray,
    fold: FloatArray,
    ohm: FloatArray,
    parents: list[int],
) -> tuple[FloatArray, FloatArray]:
    """Voltage at and current into each place."""
    volts, amps = np.empty_like(constant), np.empty_like(constant)
    volts[0] = bus_v
    amps[0] = constant[0] + slope[0] * bus_v
    for i in range(1, len(parents)):
        above = volts[parents[i]]
        amps[i] = (constant[i] + slope[i] * above) * fold[i]
        volts[i] = above - ohm[i] * amps[i]
    return volts, amps


def _next_restart(
    place_v: FloatArray, on: BoolArray, restart_v: FloatArray, hold: int
) -> tuple[int, int] | None:
    """The earliest (place, step) at which a working unit has been low for long enough."""
    low = on & (place_v < restart_v[:, None])
    if not low.any():
        return None
    first: tuple[int, int] | None = None
    for place in range(low.shape[0]):
        run = _run_length(low[place])
        hits = np.flatnonzero(run >= min(hold, low.shape[1]))
        if hits.size and (first is None or hits[0] < first[1]):
            first = (place, int(hits[0]))
    return first


def _without_vain_starts(on: BoolArray, shortest: int) -> BoolArray:
    """A unit that comes up only to find its supply still low has not been on."""
    out = on.copy()
    for row in out:
        edges = np.diff(np.concatenate(([0], row.astype(np.int8), [0])))
        starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            if start > 0 and end < row.size and end - start <= shortest:
                row[start:end] = False
    return out


def _went_down(on: BoolArray) -> tuple[tuple[int, int], ...]:
    """(place, step) at which a unit went down."""
    before = np.concatenate((np.ones((on.shape[0], 1), dtype=np.bool_), on[:, :-1]), axis=1)
    places, steps = np.nonzero(before & ~on)
    return tuple(zip(places.tolist(), steps.tolist(), strict=True))


def _run_length(mask: BoolArray) -> NDArray[np.int64]:
    """Length of the run of True that ends at each step."""
    steps = np.arange(mask.size)
    last_false = np.maximum.accumulate(np.where(mask, -1, steps))
    return np.asarray(steps - last_false, dtype=np.int64)
