"""Which places feed which, as far as profile, names and voltages tell."""

from __future__ import annotations

from telemetry.checks.aircraft_history import AircraftHistory, Unjudged
from telemetry.model.channels import PlaceKind
from telemetry.results import NotJudged
from telemetry.trends.features.flight import load_places, node_places
from telemetry.trends.features.voltages import TOTAL

#: Codes of what is judged across flights of servos, of leads and of packs.
OF_SERVOS = ("servo-current-rising", "servo-silent", "servo-heating")
OF_LEADS = ("branch-resistance-rising", "contact-intermittent", "sensor-offset")
_SAY = "say in the aircraft's profile what it is and what feeds it"
_SUPPLIES = (PlaceKind.PACK, PlaceKind.REGULATOR, PlaceKind.BUS)


def root_of(history: AircraftHistory) -> str | None:
    """The place below which the nodes hang: the profile's, else the bus, else the only pack."""
    if history.aircraft.root is not None:
        return history.aircraft.root
    seen = history.table.voltage_places
    bus = next((p for p in seen if history.aircraft.kind(p) is PlaceKind.BUS), None)
    packs = [p for p in seen if history.aircraft.kind(p) is PlaceKind.PACK]
    return packs[0] if bus is None and len(packs) == 1 else bus


def fed_places(history: AircraftHistory) -> list[tuple[str, str]]:
    """Places with a voltage of their own, and the place that feeds each."""
    seen, root = history.table.voltage_places, root_of(history)
    nodes = node_places(history.aircraft, seen)
    out = []
    for place in seen:
        if place == root or place not in nodes:
            continue
        node = history.aircraft.node(place)
        parent = root if node is None else node.fed_from
        if parent is not None and parent in seen and parent != place:
            out.append((place, parent))
    return out


def left_out(history: AircraftHistory) -> list[Unjudged]:
    """Places whose voltage or current is compared with nothing, each with the reason."""
    aircraft, table = history.aircraft, history.table
    loads, fed = load_places(aircraft, table.current_places), fed_places(history)
    out: list[Unjudged] = []
    for place in dict.fromkeys([*table.current_places, *table.voltage_places]):
        supply = aircraft.kind(place) in _SUPPLIES or place in (root_of(history), TOTAL)
        if supply or aircraft.supply(place):
            continue
        if place in table.current_places and loads and place not in loads:
            why = f"current of {place}: by name or size it drives no servos"
            out.append(Unjudged(OF_SERVOS, place, NotJudged.NO_COUNTERPART, why, _SAY))
        if place in table.voltage_places and fed and place not in {p for p, _ in fed}:
            why = f"voltage of {place}: what feeds it is not known, or has no voltage here"
            out.append(Unjudged(OF_LEADS, place, NotJudged.NO_COUNTERPART, why, _SAY))
    return out


def current_of(history: AircraftHistory, place: str, parent: str) -> tuple[str | None, bool]:
    """The place whose current flows through the lead; True where it is that place's own."""
    known = history.table.current_places
    if place in known and not history.aircraft.children(place):
        return place, True
    return parent if parent in known else whole_of(history), False


def whole_of(history: AircraftHistory) -> str | None:
    """The place whose current is that of the whole: the root, the sum of the packs, the only pack.

    None where no place tells it.
    """
    known = history.table.current_places
    packs = [p for p in known if history.aircraft.kind(p) is PlaceKind.PACK]
    only = packs if len(packs) == 1 and len(history.aircraft.packs) <= 1 else []
    return next((p for p in (root_of(history), "bus", TOTAL, *only) if p in known), None)


def packs_of(history: AircraftHistory) -> list[str]:
    """Packs of the profile, and those that the logs name besides."""
    listed = [p.name for p in history.aircraft.packs]
    seen = {p for p, _ in history.table.measured if history.aircraft.kind(p) is PlaceKind.PACK}
    return [*listed, *sorted(seen - set(listed))]


def shared_packs(history: AircraftHistory) -> list[str]:
    """Packs that share the load; those that stand by by design are left out."""
    known = ((p, history.aircraft.pack(p)) for p in packs_of(history))
    return [p for p, pack in known if pack is None or pack.role == "shared"]
