"""The model's own resistances, by the time after a current step at which they are read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from telemetry.simulate.parts import AircraftModel, FloatArray, Pair, PathKind
from telemetry.simulate.physics.chemistry import resistance_factor
from telemetry.simulate.physics.network import NetworkSolution

if TYPE_CHECKING:
    from telemetry.simulate.conditions import Conditions


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceTruth:
    """Step response of a source: ``R(t) = r0 + sum r_i (1 - exp(-t / tau_i))``.

    The closed form follows from the circuit (a series resistance and pairs of resistance and
    capacitance in parallel, fed by a current step). Charge is held: the slow fall of the
    open-circuit voltage is no part of it.
    """

    r0_ohm: float
    pairs: tuple[Pair, ...]

    def mohm(self, after_s: float | FloatArray) -> FloatArray:
        """Resistance this long after a current step [mOhm]."""
        time = np.asarray(after_s, dtype=np.float64)
        total = np.full_like(time, self.r0_ohm)
        for pair in self.pairs:
            total = total + pair.ohm * (1.0 - np.exp(-time / pair.tau_s))
        return np.asarray(1000.0 * total, dtype=np.float64)


def sources_of(
    aircraft: AircraftModel, now: Conditions, solution: NetworkSolution
) -> dict[str, SourceTruth]:
    """Step response of each pack at the unit's terminals, and of the bus.

    Temperature and charge are those of the recording, weighted by current. The bus answers with
    all packs that usually conduct; a regulator in regulation answers with its output resistance.
    """
    sources: dict[str, SourceTruth] = {}
    ways: list[SourceTruth] = []
    total = solution.pack_a.sum(axis=0)
    loaded = total > np.median(total)
    if not loaded.any():
        loaded = np.ones_like(total, dtype=np.bool_)
    for i, pack in enumerate(aircraft.packs):
        weight = solution.pack_a[i] + 1e-9
        factor = pack.age * float(
            np.average(
                resistance_factor(solution.pack_c[i], solution.pack_charge[i]), weights=weight
            )
        )
        pairs = tuple(Pair(ohm=p.ohm * factor, tau_s=p.tau_s) for p in pack.pairs)
        sources[pack.name] = SourceTruth(r0_ohm=pack.r0_ohm * factor + pack.lead_ohm, pairs=pairs)
        extra = float(np.average(now.path_ohm[i], weights=weight))
        if not np.mean(solution.pack_a[i][loaded] > 0.02 * total[loaded]) > 0.5:
            continue
        if pack.path.kind is PathKind.REGULATOR and not _in_dropout(aircraft, solution, i):
            ways.append(SourceTruth(r0_ohm=pack.path.output_ohm + extra, pairs=()))
        else:
            r0 = sources[pack.name].r0_ohm + pack.path.ohm + extra
            ways.append(SourceTruth(r0_ohm=r0, pairs=pairs))
    if ways:
        sources["bus"] = in_parallel(ways)
    return sources


def _in_dropout(aircraft: AircraftModel, solution: NetworkSolution, i: int) -> bool:
    """True where a regulator could not hold its set-point for most of the loaded time."""
    path = aircraft.packs[i].path
    amps = solution.pack_a[i]
    held = path.setpoint_v - path.standby_v - path.output_ohm * amps
    low = solution.place_v[0] < held - 0.02
    loaded = amps > np.median(amps)
    return bool(np.mean(low[loaded]) > 0.5) if loaded.any() else False


def in_parallel(ways: list[SourceTruth]) -> SourceTruth:
    """Step response of sources in parallel.

    With unit total current, D the drop of the common point and v the voltages on the pairs,
    ``D = (1 + sum g_i u_i) / sum g_i`` (g_i = 1 / r0_i, u_i = sum of v in branch i) and
    ``dv/dt = (r (D - u_i) g_i - v) / tau`` is linear in v; its eigenvalues give the time constants.
    """
    conductance = np.array([1.0 / w.r0_ohm for w in ways])
    common = conductance.sum()
    branch = [i for i, w in enumerate(ways) for _ in w.pairs]
    pairs = [p for w in ways for p in w.pairs]
    if not pairs:
        return SourceTruth(r0_ohm=float(1.0 / common), pairs=())
    share = np.array([conductance[i] for i in branch])
    ohm = np.array([p.ohm for p in pairs])
    tau = np.array([p.tau_s for p in pairs])
    same = np.equal.outer(branch, branch)
    # Current of the pair's branch: g_i (D - u_i), with D = (1 + share . v) / common.
    current = share[:, None] * (share[None, :] / common - same)
    matrix = (ohm[:, None] * current - np.eye(len(pairs))) / tau[:, None]
    drive = ohm * share / common / tau
    rates, vectors = np.linalg.eig(matrix)
    shaped = (share / common) @ vectors
    reached = np.linalg.solve(vectors, drive.astype(vectors.dtype))
    modes = np.real(-shaped * reached / rates)
    return SourceTruth(
        r0_ohm=float(1.0 / common),
        pairs=tuple(
            Pair(ohm=float(m), tau_s=float(-1.0 / np.real(r)))
            for m, r in zip(modes, rates, strict=True)
        ),
    )
