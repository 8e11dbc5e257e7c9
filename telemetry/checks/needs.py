"""What a check needs at a place to judge it in one log, and whether the log has it.

A check declares its needs; what they lack is found here, the same way for all. What it would then
have seen at least, only the check itself can say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from telemetry.checks.facts import FlightFacts
from telemetry.model.channels import COUNTERS, PlaceKind, Quantity
from telemetry.results import LOADED_PHASES, NotJudged, PhaseKind, Resistance

#: A dip that may last this long and pass unseen leaves a supply unjudged, s (heuristic: a receiver
#: restarts within a tenth of it).
SLOWEST_DIP_S = 2.0
# Telemetry lost for more than this part of the time leaves nothing judged (heuristic).
_LOST = 0.2
#: What lets a log be judged whose places have names that nobody knows.
NAME_THE_PLACES = (
    "say what these places are: name each column with --set, as bus/voltage, pack 1/current, "
    "left wing/voltage and so on, or list them in a profile, which 'busbook aircraft new NAME "
    "--from LOG' begins"
)
# The drop that a bad lead adds has to span so many steps of the voltage to be told: three at either
# end of it (heuristic).
_STEPS = 6.0


class Refusal(NamedTuple):
    """Why a check cannot judge a place, in words, and what would let it.

    ``keys`` are those of the profile, at that place, which would let it.
    """

    reason: NotJudged
    why: str
    next_time: str
    keys: tuple[str, ...] = ()


#: From a place to what a check would have seen there at least, in words with number and unit; or
#: why it could not look.
Sees = Callable[[FlightFacts, str | None], str | Refusal]
Places = Callable[[FlightFacts], Iterable[str | None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Needs:
    """What a check needs at a place.

    Attributes
    ----------
    at : function
        The places that it is asked of.
    own : tuple of Quantity
        Quantities of the place itself.
    parent_voltage : bool
        The voltage of what feeds it.
    any_current : bool
        A current of the place, of what feeds it, of all it feeds, or of the whole.
    phases : tuple of PhaseKind
        It takes one of them; () where none.
    slowest_s : float or None
        The slowest voltage that still tells, s from reading to reading.
    counterpart : bool
        Another place with the same quantities.
    essential : str
        Whether a log is clear only where this judged: "always"; "logged": only where this
        recording has what is needed; "never".
    """

    at: Places
    own: tuple[Quantity, ...] = ()
    parent_voltage: bool = False
    any_current: bool = False
    phases: tuple[PhaseKind, ...] = LOADED_PHASES
    slowest_s: float | None = None
    counterpart: bool = False
    essential: Literal["always", "logged", "never"] = "never"


def lacking(needs: Needs, facts: FlightFacts, place: str | None) -> Refusal | None:
    """The first need that a log does not meet at a place; None where it meets all."""
    return next(_lacking(needs, facts, place), None)


def _lacking(needs: Needs, facts: FlightFacts, place: str | None) -> Iterator[Refusal]:
    name = "" if place is None else place
    unread = next((u for u in facts.recording.unsettled if name == u.column and not u.beside), None)
    if unread is not None:
        why = f"the column '{name}' may be a voltage or a current and was not understood"
        yield Refusal(NotJudged.NOT_UNDERSTOOD, why, f"say what it is: {unread.set_line}")
    for quantity in needs.own:
        if not facts.logs(quantity, name):
            yield _no_column(facts, quantity, name)
    if needs.parent_voltage and facts.feed_voltage(name) is None:
        why = f"no voltage is logged of what feeds {name}"
        yield Refusal(NotJudged.NO_COLUMN, why, "log the voltage of the bus")
    if needs.any_current and not facts.has_current(name):
        yield _no_current(facts, name)
    if needs.any_current and name in facts.aircraft.unplaced:
        yield _no_feed(facts.aircraft.unplaced)
    if needs.phases and not any(p.kind in needs.phases for p in facts.flight.phases):
        yield _no_load(needs)
    lost = facts.recording.lost_share
    if needs.phases and lost > _LOST:
        why = f"telemetry was lost for {100 * lost:.0f} % of the time"
        yield Refusal(NotJudged.TELEMETRY_LOST, why, "log with a link that holds")
    step_s = facts.voltage_step_s(name)
    if needs.slowest_s is not None and step_s is not None and step_s > needs.slowest_s:
        why = f"a dip shorter than {step_s:.1f} s can pass unseen"
        yield Refusal(NotJudged.TOO_SLOW, why, f"log the voltage of {name} faster")
    if needs.counterpart and not _others(needs, facts, name):
        why = f"no other place reports what {name} does"
        yield Refusal(NotJudged.NO_COUNTERPART, why, "log the place on the other side as well")


def _no_column(facts: FlightFacts, quantity: Quantity, place: str) -> Refusal:
    """Not logged; the column of another name that may hold it, where there is one."""
    beside = facts.volts_column(place)
    loose = next((u for u in facts.recording.unsettled if beside and u.beside == beside), None)
    if quantity is Quantity.CURRENT and loose is not None:
        why = (
            f"the current '{loose.column}' has no voltage and the voltage '{loose.beside}' no "
            "current: they may be of one place, whose lead was then not judged"
        )
        return Refusal(NotJudged.NOT_UNDERSTOOD, why, f"say what it is: {loose.set_line}")
    if not any(c.quantity == quantity and c.used for c in facts.recording.columns):
        return Refusal(NotJudged.NO_COLUMN, f"it has no {quantity}", f"log a {quantity}")
    why = f"the {quantity} of {place} is not logged"
    return Refusal(NotJudged.UNLOGGED, why, f"log the {quantity} of {place}")


def _no_current(facts: FlightFacts, place: str) -> Refusal:
    unread = [u for u in facts.recording.unsettled if u.quantity is Quantity.CURRENT]
    if unread:
        what = f"the column '{unread[0].column}' may be the current and was not understood"
        said = " ".join(u.set_line for u in unread)
        return Refusal(NotJudged.NOT_UNDERSTOOD, what, f"say what it is: {said}")
    none = not any(facts.currents())
    what = "it has no current" if none else f"it has no current of {place} or of what feeds it"
    why = f"{what}, so no voltage drop can be attributed to load"
    return Refusal(NotJudged.NO_COLUMN, why, "log the current of the bus, or of each pack")


def _no_feed(unplaced: Sequence[str]) -> Refusal:
    """Neither a name nor a reading tells what feeds what."""
    named = ", ".join(f"'{p}'" for p in unplaced)
    why = f"nothing tells which place feeds the others, and what a pack or the bus is, of {named}"
    return Refusal(NotJudged.NOT_UNDERSTOOD, why, NAME_THE_PLACES)


def _no_load(needs: Needs) -> Refusal:
    if set(needs.phases) == set(LOADED_PHASES):
        why = "neither a stir nor a flight was found in it, so nothing was under load"
        return Refusal(NotJudged.NO_LOAD, why, "log a stir, or a flight")
    kinds = " or ".join(kind.value for kind in needs.phases)
    return Refusal(NotJudged.NO_LOAD, f"no {kinds} was found in it", f"log a {kinds}")


def _others(needs: Needs, facts: FlightFacts, place: str) -> list[str]:
    """Other places that this is asked of, with all its own quantities."""
    asked = (p for p in needs.at(facts) if p is not None and p != place)
    return [p for p in asked if all(facts.logs(q, p) for q in needs.own)]


def long_enough(facts: FlightFacts, place: str | None) -> str:
    """How long a dip at a place must last to be sure to show: " for 0.2 s or longer"."""
    step_s = facts.voltage_step_s(place or "")
    return "" if step_s is None else f" for {step_s:.2g} s or longer"


def without_resistance(facts: FlightFacts, r: Resistance | None, place: str) -> Refusal:
    """Why a resistance that a check rests on could not be measured."""
    if r is None:
        why = f"no voltage and current of {place} and of what it is held against"
        return Refusal(NotJudged.UNLOGGED, why, "log voltage and current of both ends")
    if r.regulated:
        return Refusal(NotJudged.REGULATED, r.refused, "look at the regulator on the bench")
    if too_calm(facts, r.place):
        why = "its current was too small for the steps of the voltages"
        return Refusal(NotJudged.CALM, why, "stir harder, or fly as usual")
    return Refusal(NotJudged.UNCERTAIN, r.refused, "log voltage and current of both ends faster")


def too_calm(facts: FlightFacts, place: str) -> bool:
    """Whether the current of a minute moves the voltage too little for a bad lead to show."""
    usual_a = max((x.usual_a or 0.0 for x in facts.flight.loads if x.place == place), default=0.0)
    step_v = facts.steps(Quantity.VOLTAGE).get(place, 0.0)
    return usual_a * facts.limits.branch_ground_mohm / 1000 < _STEPS * step_v


def told_already(what: str) -> Refusal:
    """A check that does not look where another finding tells what it would show."""
    return Refusal(NotJudged.EXPLAINED, f"{what} explains it", "see what was found there")


# Places that a check is asked of.


def whole(_facts: FlightFacts) -> Iterator[None]:
    """The aircraft as a whole."""
    yield None


def supplies(facts: FlightFacts) -> Iterator[str | None]:
    """Each place whose voltage is logged, or may be; and those whose voltage the log lacks.

    The whole where the log has no voltage at all.
    """
    aircraft = facts.aircraft
    volts = [p for p in facts.places(Quantity.VOLTAGE) if not aircraft.of_motor(p)]
    unread = [u.column for u in facts.recording.unsettled if u.quantity is Quantity.VOLTAGE]
    if not volts and not unread:
        yield aircraft.root
        return
    yield from volts
    yield from unread
    yield from (n.name for n in aircraft.nodes if n.name not in volts)


def behind_packs(facts: FlightFacts) -> Iterator[str | None]:
    """As :func:`supplies`, without packs that feed another place."""
    for place in supplies(facts):
        pack = place is not None and facts.aircraft.kind(place) is PlaceKind.PACK
        if not pack or place == facts.aircraft.root:
            yield place


def nodes(facts: FlightFacts) -> Iterator[str]:
    """Places fed from another: nodes and receivers, as the aircraft lists them."""
    root = facts.aircraft.root
    yield from (n.name for n in facts.aircraft.nodes if n.name != root)


def drawing(facts: FlightFacts) -> Iterator[str]:
    """Nodes, and currents that were not understood."""
    yield from nodes(facts)
    yield from (
        u.column
        for u in facts.recording.unsettled
        if u.quantity is Quantity.CURRENT and not u.beside
    )


def packs(facts: FlightFacts) -> Iterator[str]:
    """The packs."""
    yield from (p.name for p in facts.aircraft.packs)


def root(facts: FlightFacts) -> Iterator[str]:
    """What the nodes hang on, where it is no pack."""
    place = facts.aircraft.root
    if place is not None and facts.aircraft.kind(place) is not PlaceKind.PACK:
        yield place


def counting(facts: FlightFacts) -> Iterator[str | None]:
    """Places with a counter or a clock of their own; the whole where there is none."""
    found = [c.place for c in facts.recording.columns if c.used and c.quantity in COUNTERS]
    yield from dict.fromkeys(found or [None])


def counting_charge(facts: FlightFacts) -> Iterator[str]:
    """Places with a counter of used charge."""
    yield from facts.places(Quantity.CONSUMED)
