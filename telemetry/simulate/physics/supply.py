"""The packs as the bus sees them: electromotive force, relaxation, path, and how they share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from telemetry.simulate.parts import AircraftModel, BoolArray, FloatArray, PackModel, PathKind
from telemetry.simulate.physics.chemistry import open_circuit_v, resistance_factor

BLEED_S = 1e-9  # keeps the equation regular where nothing is asked and nothing is given
TOLERANCE_V = 1e-8


@dataclass(slots=True)
class PackCondition:
    """What a pack carries from block to block."""

    model: PackModel
    charge: float
    temp_c: float
    path_c: float
    relax_v: list[float]

    def factor(self) -> float:
        """Factor on its internal resistances: temperature, charge and age."""
        return float(resistance_factor(self.temp_c, self.charge)) * self.model.age


@dataclass(slots=True)
class PackSource:
    """One pack during one block, as the bus sees it."""

    pack: PackModel
    emf_v: FloatArray
    inner_ohm: float
    path_ohm: FloatArray
    limit_a: FloatArray
    closed: FloatArray  # 1 where connected, 0 where open

    def lines(self) -> list[tuple[FloatArray, FloatArray]]:
        """Straight lines (volts at no current, conductance); the smallest current holds."""
        path = self.pack.path
        total = self.inner_ohm + self.pack.lead_ohm + path.ohm + self.path_ohm
        if path.kind is PathKind.DIRECT:
            return [(self.emf_v, 1.0 / total)]
        through = (self.emf_v - path.drop_v, 1.0 / total)
        if path.kind is PathKind.DIODE:
            return [(through[0] - path.standby_v, through[1])]
        setpoint = path.setpoint_v - path.standby_v
        out = path.output_ohm + self.path_ohm
        return [
            through,
            (np.full_like(self.emf_v, setpoint), 1.0 / out),
            (setpoint + path.limit_ohm * self.limit_a, 1.0 / (out + path.limit_ohm)),
        ]

    def current(
        self, bus_v: FloatArray, lines: list[tuple[FloatArray, FloatArray]]
    ) -> tuple[FloatArray, FloatArray]:
        """Current given at a bus voltage, and its falling rate with it [A, S]."""
        volts, slope = lines[0]
        amps = (volts - bus_v) * slope
        for other_v, other_s in lines[1:]:
            other = (other_v - bus_v) * other_s
            slope = np.where(other < amps, other_s, slope)
            amps = np.minimum(amps, other)
        give = self.closed
        if self.pack.path.kind is not PathKind.DIRECT:
            give = give * (amps > 0.0)
        return amps * give, slope * give


def relaxed(
    states: list[PackCondition],
    path_ohm: FloatArray,
    limit_a: FloatArray,
    is_open: BoolArray,
    constant: FloatArray,
    slope: FloatArray,
    dt_s: float,
) -> tuple[
    list[PackSource], FloatArray, list[FloatArray], list[tuple[FloatArray, list[FloatArray], float]]
]:
    """Pack currents and pack states of one block, in agreement with one another.

    Parameters
    ----------
    states : list of PackCondition
        At the block's start.
    path_ohm, limit_a : array, shape (packs, n)
    is_open : array of bool, shape (packs, n)
    constant, slope : array, shape (n,)
        Current asked at the bus is ``constant + slope * V``.
    dt_s : float

    Returns
    -------
    sources, bus voltage, currents of the packs, and per pack: charge, relaxation voltages
    (n + 1 values each) and charge at the end.
    """
    n = constant.size
    sources = [
        PackSource(
            pack=s.model,
            emf_v=np.full(n, s.model.cells * float(open_circuit_v(s.model.chemistry, s.charge))),
            inner_ohm=s.model.r0_ohm * s.factor(),
            path_ohm=path_ohm[i],
            limit_a=limit_a[i],
            closed=np.asarray(~is_open[i], dtype=np.float64),
        )
        for i, s in enumerate(states)
    ]
    for s, source in zip(states, sources, strict=True):
        source.emf_v = source.emf_v - sum(s.relax_v)
    bus_v = np.full(n, max(float(s.emf_v[0]) for s in sources))
    for _ in range(60):
        bus_v, amps = _bus(sources, constant, slope, bus_v)
        after = [_followed(s, a, dt_s) for s, a in zip(states, amps, strict=True)]
        worst = 0.0
        for s, source, (charge, relax, _end) in zip(states, sources, after, strict=True):
            emf = s.model.cells * open_circuit_v(s.model.chemistry, charge)
            for volts in relax:
                emf = emf - volts[:-1]
            worst = max(worst, float(np.max(np.abs(emf - source.emf_v))))
            source.emf_v = emf
        if worst < TOLERANCE_V:
            return sources, bus_v, amps, after
    raise RuntimeError(f"pack states did not settle: {worst:.2e} V left")


def _followed(
    state: PackCondition, amps: FloatArray, dt_s: float
) -> tuple[FloatArray, list[FloatArray], float]:
    """Charge at each step's start, relaxation voltages (n + 1 values), charge at the end."""
    drawn = np.cumsum(amps) * (dt_s / 3.6 / state.model.capacity_mah)
    charge = state.charge - np.concatenate(([0.0], drawn[:-1]))
    relax = []
    for pair, start_v in zip(state.model.pairs, state.relax_v, strict=True):
        keep = float(np.exp(-dt_s / pair.tau_s))
        ohm = pair.ohm * state.factor()
        follow, _ = scipy.signal.lfilter(
            [(1.0 - keep) * ohm], [1.0, -keep], amps, zi=[keep * start_v]
        )
        relax.append(np.concatenate(([start_v], follow)))
    return charge, relax, state.charge - float(drawn[-1])


def _bus(
    sources: list[PackSource], constant: FloatArray, slope: FloatArray, guess_v: FloatArray
) -> tuple[FloatArray, list[FloatArray]]:
    """Bus voltage at which the packs give what is asked: Newton's method within brackets."""
    low = np.zeros_like(guess_v)
    high = np.full_like(guess_v, 30.0)
    volts = guess_v
    asked = slope + BLEED_S
    lines = [s.lines() for s in sources]
    for k in range(90):
        given = [s.current(volts, line) for s, line in zip(sources, lines, strict=True)]
        excess = sum((a for a, _ in given), -constant) - asked * volts
        rate = sum((g for _, g in given), asked)
        low = np.where(excess >= 0.0, volts, low)
        high = np.where(excess < 0.0, volts, high)
        newton = volts + excess / np.maximum(rate, BLEED_S)
        inside = (newton >= low) & (newton <= high)
        if k >= 40:  # between the two lines of a source at its limit it may go to and fro for ever
            inside &= np.abs(newton - volts) < 1e-11
        step = np.where(inside, newton, 0.5 * (low + high))
        change = float(np.max(np.abs(step - volts)))
        volts = step
        if change < 1e-11:
            break
    given = [s.current(volts, line) for s, line in zip(sources, lines, strict=True)]
    return volts, [a for a, _ in given]


def advance(
    state: PackCondition,
    source: PackSource,
    bus_v: FloatArray,
    amps: FloatArray,
    after: tuple[FloatArray, list[FloatArray], float],
    aircraft: AircraftModel,
    ambient_c: float,
    dt_s: float,
) -> None:
    """Carry a pack's charge, relaxation and temperatures over to the next block."""
    _charge, relax, end = after
    span = amps.size * dt_s
    square = float(np.mean(amps * amps))
    inner = source.inner_ohm + sum(p.ohm for p in state.model.pairs) * state.factor()
    settle = ambient_c + inner * square / state.model.cooling_w_per_k
    tau = state.model.heat_j_per_k / state.model.cooling_w_per_k
    state.temp_c = settle + (state.temp_c - settle) * float(np.exp(-span / tau))
    terminal = source.emf_v - amps * (source.inner_ohm + state.model.lead_ohm)
    lost = float(np.mean(np.maximum(terminal - bus_v, 0.0) * np.maximum(amps, 0.0)))
    hot = ambient_c + aircraft.heat_k_per_w * lost
    state.path_c = hot + (state.path_c - hot) * float(np.exp(-span / aircraft.heat_s))
    state.charge = end
    state.relax_v = [float(volts[-1]) for volts in relax]
