"""The power path as a circuit: sources in parallel, a tree of leads, servos as resistances.

Sources are straight lines through the point at which they were measured; none takes current back
(switch-over by diodes, ideal or not, and regulators let none through).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple


class Line(NamedTuple):
    """A source near the state in which it was measured: ``U = volts - ohm * (I - amps)``."""

    volts: float
    amps: float
    ohm: float

    def at(self, amps: float) -> float:
        """Voltage at a current, V."""
        return self.volts - self.ohm * (amps - self.amps)

    @property
    def open_v(self) -> float:
        """Voltage at no current, V."""
        return self.at(0.0)


def together_v(lines: Sequence[Line], amps: float) -> float:
    """Voltage at which sources in parallel give a current together, V.

    Parameters
    ----------
    lines : sequence of Line
        A source whose open voltage lies lower gives nothing. One without resistance (the end of
        an interval may reach zero) counts as one of a microohm.
    amps : float
        Total current, A, not negative.

    Returns
    -------
    float
    """
    ordered = sorted(
        (Line(line.volts, line.amps, max(line.ohm, 1e-6)) for line in lines),
        key=lambda line: -line.open_v,
    )
    volts = ordered[0].open_v
    for count in range(1, len(ordered) + 1):
        giving = ordered[:count]
        conductance = sum(1 / line.ohm for line in giving)
        volts = (sum(line.open_v / line.ohm for line in giving) - amps) / conductance
        if count == len(ordered) or volts >= ordered[count].open_v:
            break
    return volts


def load_ohm(
    place: str,
    children: Mapping[str, Sequence[str]],
    branch_ohm: Mapping[str, float],
    servo_ohm: Mapping[str, float],
) -> float:
    """Resistance that a place and all below it show, Ohm; infinite where nothing draws.

    Parameters
    ----------
    place : str
    children : mapping
        The places fed from each place.
    branch_ohm : mapping
        Lead from the feeding place to each place, out and back.
    servo_ohm : mapping
        Servos plugged into each place itself, in parallel.
    """
    siemens = 1 / servo_ohm[place] if place in servo_ohm else 0.0
    for child in children.get(place, ()):
        below = load_ohm(child, children, branch_ohm, servo_ohm)
        siemens += 1 / (branch_ohm[child] + below)
    return 1 / siemens if siemens > 0 else float("inf")


def place_volts(
    place: str,
    volts: float,
    children: Mapping[str, Sequence[str]],
    branch_ohm: Mapping[str, float],
    servo_ohm: Mapping[str, float],
) -> dict[str, float]:
    """Voltage at a place and at all below it, with the servos as resistances, V."""
    out = {place: volts}
    for child in children.get(place, ()):
        below = load_ohm(child, children, branch_ohm, servo_ohm)
        share = 1.0 if below == float("inf") else below / (below + branch_ohm[child])
        out |= place_volts(child, volts * share, children, branch_ohm, servo_ohm)
    return out


def loaded_v(supply_v: Callable[[float], float], ohm: float, highest_v: float) -> float:
    """Voltage at which a supply meets a resistance, V.

    Parameters
    ----------
    supply_v : callable
        Voltage of the supply at a current, never rising with it.
    ohm : float
        The load.
    highest_v : float
        The supply's open voltage, or anything above it.
    """
    if ohm == float("inf"):
        return supply_v(0.0)

    def excess(volts: float) -> float:
        return supply_v(volts / ohm) - volts

    low, high = 0.0, highest_v + 1.0
    # Halved until no number lies between: it crosses zero once.
    while low < (middle := 0.5 * (low + high)) < high:
        if excess(middle) > 0:
            low = middle
        else:
            high = middle
    return low
