"""Which places feed which, as far as profile, names and voltages tell."""

from __future__ import annotations

from telemetry.channels import PlaceKind, kind_of_place
from telemetry.season.case import Case
from telemetry.season.voltages import TOTAL


def root_of(case: Case) -> str | None:
    """The place below which the nodes hang: the profile's, else the bus, else the only pack."""
    if case.aircraft.root is not None:
        return case.aircraft.root
    seen = case.table.voltage_places
    bus = next((p for p in seen if kind_of_place(p) is PlaceKind.BUS), None)
    packs = [p for p in seen if kind_of_place(p) is PlaceKind.PACK]
    return packs[0] if bus is None and len(packs) == 1 else bus


def fed_places(case: Case) -> list[tuple[str, str]]:
    """Places with a voltage of their own, and the place that feeds each."""
    seen, root = case.table.voltage_places, root_of(case)
    out = []
    for place in seen:
        is_node = kind_of_place(place) in (PlaceKind.NODE, PlaceKind.RECEIVER)
        if place == root or not (is_node or case.aircraft.node(place)):
            continue
        parent = case.aircraft.parent(place) or root
        if parent is not None and parent in seen and parent != place:
            out.append((place, parent))
    return out


def current_of(case: Case, place: str, parent: str) -> tuple[str | None, bool]:
    """The place whose current flows through the lead; True where it is that place's own."""
    known = case.table.current_places
    if place in known and not case.aircraft.children(place):
        return place, True
    return parent if parent in known else whole_of(case), False


def whole_of(case: Case) -> str | None:
    """The place whose current is that of the whole: the root, the sum of the packs, the only pack.

    None where no place tells it.
    """
    known = case.table.current_places
    packs = [p for p in known if kind_of_place(p) is PlaceKind.PACK]
    only = packs if len(packs) == 1 and len(case.aircraft.packs) <= 1 else []
    return next((p for p in (root_of(case), "bus", TOTAL, *only) if p in known), None)
