"""What the aircraft's profile lacks, and the one line that would say it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind
from telemetry.model.text import plain
from telemetry.report.document import Table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import quoted
from telemetry.results import CheckOutcome, Review

# What stands for a value that only the user knows. It is no value: set as it is, it is refused.
_SERVO_KEYS = ("--output N", "--drives SURFACE", "--stall-a A", "--stall-v V")


def set_line(profile: str, places: Sequence[str], keys: Iterable[str]) -> str:
    """The command that sets keys of some places: the words in capitals are for the user."""
    named = " ".join(quoted(plain(place)) for place in places)
    return f"busbook aircraft set {quoted(profile)} {named} {' '.join(keys)}"


def profile_name(review: Review, profile: str | None = None) -> str:
    """What to write for the aircraft: as it was named, else by its profile, else a word for it."""
    if profile is not None:
        return profile
    return "NAME" if review.aircraft.inferred else review.aircraft.name


def capacity_line(aircraft: Aircraft, packs: Sequence[str], profile: str) -> str:
    """The line that makes it known how many flights are left in some packs; "" if it is known."""
    lacking = [p for p in packs if _lacks(aircraft, p, "capacity_mah")]
    if not lacking:
        return ""
    keys = [
        words
        for field, words in (("chemistry", "--chemistry CHEMISTRY"), ("cells", "--cells N"))
        if any(_lacks(aircraft, p, field) for p in lacking)
    ]
    return set_line(profile, lacking, (*keys, "--capacity MAH"))


def _lacks(aircraft: Aircraft, pack: str, field: str) -> bool:
    listed = aircraft.pack(pack)
    return listed is None or getattr(listed, field) is None


def asked_table(review: Review, profile: str) -> Table | None:
    """What the profile would make known, with the line for each; None where it lacks nothing."""
    packs = [s.place for s in review.flights[-1].packs] if review.flights else []
    rows: dict[str, str] = {}
    if line := capacity_line(review.aircraft, packs, profile):
        rows[line] = "Charge and flights left in the packs"
    for keys, same in _alike(review.checks).items():
        places = list(dict.fromkeys(o.place for o in same if o.place is not None))
        rows.setdefault(set_line(profile, places, keys), same[0].question)
    nodes = [n.name for n in review.aircraft.nodes]
    kind = review.aircraft.kind
    if nodes and not any(s.stall_a is not None for s in review.aircraft.servos):
        driving = [n for n in nodes if kind(n) in (PlaceKind.NODE, PlaceKind.RECEIVER)] or nodes
        line = set_line(profile, driving[:1], _SERVO_KEYS)
        rows[line] = "The worst case of all servos stalled (once for each output)"
    if not rows:
        return None
    note = "Put your own values in place of the words in capitals; the rest of the file stays."
    if profile == "NAME":
        note += " The logbook has to know the aircraft first: busbook add LOG --aircraft NAME."
    return Table(
        caption="What the aircraft's profile would make known",
        columns=columns("Not known", "The line that says it"),
        rows=tuple(cells(what, line) for line, what in rows.items()),
        note=note,
        brief=False,
    )


def _alike(outcomes: Sequence[CheckOutcome]) -> dict[tuple[str, ...], list[CheckOutcome]]:
    """Outcomes that lack the same keys, together."""
    groups: dict[tuple[str, ...], list[CheckOutcome]] = {}
    for o in outcomes:
        if o.keys and o.place is not None:
            groups.setdefault(o.keys, []).append(o)
    return groups
