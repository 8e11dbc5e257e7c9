"""The power path read from the places of a log, where the user has no profile."""

from __future__ import annotations

from telemetry.aircraft.parts import Node, Pack
from telemetry.aircraft.path import Aircraft
from telemetry.channels import PlaceKind, Quantity, kind_of_place, mirror_of
from telemetry.log import Log

# What a transmitter calls the aircraft in the lines before the header, in seven languages.
_MODEL = frozenset(
    {"model", "model name", "aircraft", "modell", "modellname", "modèle", "modele", "modelo"}
    | {"modello", "modelnaam", "vliegtuig", "letadlo", "název modelu"}
)


def infer_path(log: Log) -> Aircraft:
    """The power path as far as the places of a log tell it.

    Packs are the places named so; the bus is the place named so; every node and receiver with a
    voltage or current of its own is taken to be fed from the bus (common practice, no source: the
    two usual layouts), without one from the regulator, else from the one pack there is. Nothing is
    assumed of chemistry, capacity or leads.
    """
    electrical = log.places(Quantity.VOLTAGE, Quantity.CURRENT)
    packs = tuple(
        Pack(name=p)
        for p in log.places(Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED)
        if kind_of_place(p) is PlaceKind.PACK
    )
    bus = next((p for p in electrical if kind_of_place(p) is PlaceKind.BUS), None)
    regulator = next((p for p in electrical if kind_of_place(p) is PlaceKind.REGULATOR), None)
    feed = bus or regulator or (packs[0].name if len(packs) == 1 else None)
    nodes = tuple(
        Node(
            name=p,
            fed_from=feed,
            mirror=m if (m := mirror_of(p)) in electrical else None,
        )
        for p in electrical
        if kind_of_place(p) in (PlaceKind.NODE, PlaceKind.RECEIVER)
    )
    return Aircraft(
        name=_named_in(log), inferred=True, packs=packs, regulator=regulator, bus=bus, nodes=nodes
    )


def _named_in(log: Log) -> str:
    """The aircraft's name as the lines before the header give it."""
    found = (value.strip() for key, value in log.provenance.preamble if key.casefold() in _MODEL)
    return next((name for name in found if name), "unnamed")
