"""What can be wrong with a power path although every single value is allowed."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from typing import NamedTuple

from telemetry.aircraft import Aircraft, PackLabel


class Problem(NamedTuple):
    """One thing wrong: at which key of the profile, what, what to do, and of which places."""

    where: tuple[str | int, ...]
    what: str
    hint: str
    places: tuple[str, ...] = ()


def path_problems(aircraft: Aircraft) -> tuple[Problem, ...]:
    """Everything that keeps the path from being one tree below one root.

    Parameters
    ----------
    aircraft : Aircraft
        As read, all dates together.

    Returns
    -------
    tuple of Problem
        In the order of the checks; empty where the path is sound.
    """
    path = [*_twice_named(aircraft), *_unknown_places(aircraft), *_roots_and_loops(aircraft)]
    loose = [] if path else _loose_supplies(aircraft)  # after a loop everything hangs loose
    return (*path, *loose, *_mirrors(aircraft), *_outputs(aircraft), *_labels(aircraft))


def suggestion(name: str, known: list[str]) -> str:
    """The nearest known name, or all of them."""
    near = get_close_matches(name, known, n=1)
    if near:
        return f"the nearest known is '{near[0]}'"
    return "known here: " + (", ".join(sorted(known)) or "none")


def _places(aircraft: Aircraft) -> list[tuple[tuple[str | int, ...], str]]:
    return [
        *((("packs", i, "name"), p.name) for i, p in enumerate(aircraft.packs)),
        *((("supplies", i, "name"), s.name) for i, s in enumerate(aircraft.supplies)),
        *((("nodes", i, "name"), n.name) for i, n in enumerate(aircraft.nodes)),
    ]


def _names(aircraft: Aircraft) -> list[str]:
    more = (aircraft.bus, aircraft.regulator)
    return [*(name for _, name in _places(aircraft)), *(name for name in more if name)]


def _twice_named(aircraft: Aircraft) -> Iterator[Problem]:
    seen: set[str] = set()
    for where, name in _places(aircraft):
        if name in seen:
            what = f"two places are named '{name}'"
            yield Problem(where, what, "give each a name of its own", (name,))
        seen.add(name)


def _unknown_places(aircraft: Aircraft) -> Iterator[Problem]:
    names = _names(aircraft)
    feeds: list[tuple[tuple[str | int, ...], str, list[str]]] = []
    for i, node in enumerate(aircraft.nodes):
        if node.fed_from is not None:
            feeds.append((("nodes", i, "fed_from"), node.fed_from, names))
    upstream = [p.name for p in aircraft.packs] + [s.name for s in aircraft.supplies]
    for i, supply in enumerate(aircraft.supplies):
        for k, name in enumerate(supply.fed_from):
            feeds.append((("supplies", i, "fed_from", k), name, upstream))
    for where, name, known in feeds:
        if name not in known:
            yield Problem(
                where,
                f"'{name}' is no place of this profile that could feed another",
                suggestion(name, known),
                (name,),
            )
    carriers = [n.name for n in aircraft.nodes]
    carriers += [name for name in (aircraft.root,) if name is not None and name not in carriers]
    for i, servo in enumerate(aircraft.servos):
        if servo.node not in carriers:
            yield Problem(
                ("servos", i, "node"),
                f"no node is named '{servo.node}'",
                suggestion(servo.node, carriers),
                (servo.node,),
            )


def _roots_and_loops(aircraft: Aircraft) -> Iterator[Problem]:
    top = aircraft.root
    names = _names(aircraft)
    in_reported_loop: set[str] = set()
    for i, node in enumerate(aircraft.nodes):
        if node.fed_from is None:
            if node.name != top:
                yield _without_feed(aircraft, i, top)
            continue
        chain = [node.name]
        while True:
            here = aircraft.node(chain[-1])
            above = None if here is None else here.fed_from
            if above is None or above not in names:
                break
            if above in chain:
                loop = chain[chain.index(above) :]
                if not in_reported_loop & set(loop):
                    in_reported_loop |= set(loop)
                    yield Problem(
                        ("nodes", i, "fed_from"),
                        "the path runs in a loop: " + " from ".join([*loop, above]),
                        "one of them must be fed from somewhere else",
                    )
                break
            chain.append(above)
        end = chain[-1]
        direct = aircraft.node(end) is None and len(chain) == 2
        if direct and top is not None and top not in (end, node.name):
            yield Problem(
                ("nodes", i, "fed_from"),
                f"the path has two roots: '{node.name}' hangs on '{end}' beside '{top}'",
                f"feed it from '{top}' or give it a profile of its own",
                (node.name, end, top),
            )
        elif direct and top is None:
            yield Problem(
                ("nodes", i, "fed_from"),
                f"the path has two roots: '{end}' and the other packs are joined nowhere",
                'name the bus they feed, as bus = "bus"',
                (end,),
            )
    for i, supply in enumerate(aircraft.supplies):
        above_all, wave = set[str](), set(supply.fed_from)
        while wave - above_all:
            above_all |= wave
            wave = {up for name in wave for up in aircraft.feeders(name)}
        if supply.name in above_all:
            yield Problem(
                ("supplies", i, "fed_from"),
                f"the path runs in a loop through '{supply.name}'",
                "a supply is fed from packs or from supplies nearer to them",
                (supply.name,),
            )


def _without_feed(aircraft: Aircraft, number: int, top: str | None) -> Problem:
    name = aircraft.nodes[number].name
    feeds = aircraft.children(name)
    if feeds and top is not None:
        return Problem(
            ("nodes", number, "name"),
            f"the path has two roots: '{name}' feeds '{feeds[0]}' but hangs on nothing, "
            f"beside '{top}'",
            f'say what feeds it, as fed_from = "{top}"',
            (name, feeds[0], top),
        )
    hint = (
        "say what feeds it, as fed_from = " + (f'"{top}"' if top else '"bus"')
        if top or not feeds
        else f'if it is the bus, write bus = "{name}" at the top'
    )
    return Problem(("nodes", number, "name"), f"nothing feeds the node '{name}'", hint, (name,))


def _loose_supplies(aircraft: Aircraft) -> Iterator[Problem]:
    """With a bus, every pack and supply must end there."""
    if aircraft.bus is None:
        return
    reached: set[str] = set()
    # A listed pack feeds the bus directly only where no supply is listed.
    direct = {p.name for p in aircraft.packs} if aircraft.supplies else set()
    wave = set(aircraft.feeders(aircraft.bus)) - direct
    while wave - reached:
        reached |= wave
        wave = {up for name in wave for up in aircraft.feeders(name)}
    if aircraft.regulator in reached and aircraft.supply(aircraft.regulator or "") is None:
        return  # a regulator known by name only stands for all that feeds it
    feeding = [where_name for where_name in _places(aircraft) if where_name[0][0] != "nodes"]
    for where, name in feeding:
        if name not in reached:
            yield Problem(
                where,
                f"the path has two roots: '{name}' does not feed '{aircraft.bus}'",
                "name it in the fed_from of what it feeds, or leave it out",
                (name, aircraft.bus),
            )


def _mirrors(aircraft: Aircraft) -> Iterator[Problem]:
    nodes = {n.name: n for n in aircraft.nodes}
    for i, node in enumerate(aircraft.nodes):
        where = ("nodes", i, "mirror")
        if node.mirror is None:
            continue
        others = [name for name in nodes if name != node.name]
        if node.mirror not in others:
            yield Problem(
                where,
                f"the mirror '{node.mirror}' of '{node.name}' is no other node of this profile",
                suggestion(node.mirror, others),
                (node.mirror, node.name),
            )
        elif (back := nodes[node.mirror].mirror) not in (None, node.name):
            yield Problem(
                where,
                f"the mirror '{node.mirror}' of '{node.name}' names '{back}' as its own",
                "mirrors come in pairs",
                (node.mirror, node.name, back),
            )


def _outputs(aircraft: Aircraft) -> Iterator[Problem]:
    for i, servo in enumerate(aircraft.servos):
        for earlier in aircraft.servos[:i]:
            same = (servo.node, servo.output) == (earlier.node, earlier.output)
            if same and servo.overlaps(earlier):
                yield Problem(
                    ("servos", i, "output"),
                    f"'{earlier.drives}' and '{servo.drives}' are on output {servo.output} of "
                    f"'{servo.node}' at the same date",
                    "end the first with until and begin the second with since, or use count for "
                    "two servos on one output",
                    (servo.node,),
                )
                break


def _labels(aircraft: Aircraft) -> Iterator[Problem]:
    seen: list[tuple[str, PackLabel]] = []
    for i, pack in enumerate(aircraft.packs):
        for k, label in enumerate(pack.labels):
            where = ("packs", i, "labels", k)
            for other_pack, other in seen:
                if not label.overlaps(other):
                    continue
                if other_pack == pack.name:
                    yield Problem(
                        where,
                        f"'{pack.name}' carries the labels '{other.label}' and '{label.label}' "
                        "at the same date",
                        "end the first with until and begin the second with since",
                        (pack.name,),
                    )
                    break
                if other.label == label.label:
                    yield Problem(
                        where,
                        f"the pack labelled '{label.label}' is '{other_pack}' and '{pack.name}' "
                        "at the same date",
                        "end the first with until and begin the second with since",
                        (other_pack, pack.name),
                    )
                    break
            seen.append((pack.name, label))
