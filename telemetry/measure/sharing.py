"""How the packs carried the load of one flight together, worked out once for all who ask."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from telemetry.aircraft import Aircraft
from telemetry.measure.packs import PackShare, pack_shares
from telemetry.numerics.spans import complement, merge
from telemetry.readings import Readings
from telemetry.results import WORKING_PHASES, PackOut, Phase, PhaseKind

Stretches = tuple[tuple[float, float], ...]


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
