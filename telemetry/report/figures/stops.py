"""The places of a power path in the order in which a figure shows them."""

from __future__ import annotations

from dataclasses import dataclass

from telemetry.aircraft import Aircraft


@dataclass(frozen=True, slots=True)
class Stop:
    """One place as a row: how far it is indented, and the places that it is joined to."""

    place: str
    depth: int
    joined: tuple[str, ...]


def stops_of(aircraft: Aircraft) -> tuple[Stop, ...]:
    """The places of a path from the packs down, each once.

    What feeds the root stands above it, what it feeds below, both further in the further they are
    from it. A place is joined to what lies between it and the root.
    """
    root = aircraft.root
    rows: list[Stop] = []
    if root is not None:
        above: list[Stop] = []
        _climb(aircraft, Stop(root, 0, ()), above, {root})
        rows = [*reversed(above), Stop(root, 0, ())]
        _descend(aircraft, rows[-1], rows, {s.place for s in rows})
    seen = {s.place for s in rows}
    loose = [*(p.name for p in aircraft.packs), *(n.name for n in aircraft.nodes)]
    return (*rows, *(Stop(name, 0, ()) for name in loose if name not in seen))


def _climb(aircraft: Aircraft, stop: Stop, rows: list[Stop], seen: set[str]) -> None:
    for feeder in reversed(aircraft.feeders(stop.place)):
        if feeder in seen:
            continue
        seen.add(feeder)
        feeds = [stop.place, *(s.name for s in aircraft.supplies if feeder in s.fed_from)]
        rows.append(Stop(feeder, stop.depth + 1, tuple(dict.fromkeys(feeds))))
        _climb(aircraft, rows[-1], rows, seen)


def _descend(aircraft: Aircraft, stop: Stop, rows: list[Stop], seen: set[str]) -> None:
    for child in aircraft.children(stop.place):
        if child not in seen:
            seen.add(child)
            rows.append(Stop(child, stop.depth + 1, (stop.place,)))
            _descend(aircraft, rows[-1], rows, seen)
