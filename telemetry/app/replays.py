"""What the flights up to each one tell together: kept in the book, judged once.

It depends on the flights up to there, their order, the notes among them and the profile, and on
nothing else. Each flight has a key made of all that, so that what was judged is found again as long
as nothing before it changed, and a flight more costs one judgement.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import asdict, replace
from functools import partial
from time import monotonic
from typing import Any

from telemetry.aircraft import Aircraft
from telemetry.app.cache import version_for
from telemetry.app.workers import Crew, calls
from telemetry.book import Logbook
from telemetry.checks.across import together_at
from telemetry.model.errors import BookError
from telemetry.model.version import program_version
from telemetry.results import (
    AircraftStanding,
    Answer,
    Cause,
    Change,
    EarlierAnswer,
    Finding,
    Fleet,
    History,
    HistoryFlight,
    Level,
    NoteMark,
    StandingFinding,
)
from telemetry.trends.measures import VERSION as MEASURES_VERSION
from telemetry.trends.measures import Measures
from telemetry.trends.table import FeatureTable

#: Version of what is judged across flights; raised where a check changes what it finds.
VERSION = "7"

# Flights of a piece of the work, at least, and pieces at most: each of them, given to a worker,
# works out anew what flights tell by themselves.
_PIECE, _PIECES = 25, 16
# What was judged is kept so often, s: all of it is written each time.
_KEPT_EVERY_S = 20.0

Together = tuple[Finding, ...]
Kept = tuple[Together, list[dict[str, Any]]]


def together_of(
    book: Logbook,
    name: str,
    flights: Sequence[Measures],
    listed: Sequence[HistoryFlight],
    notes: Sequence[NoteMark],
    profile: Aircraft | None,
    *,
    table: FeatureTable | None = None,
    fleet: Fleet | None = None,
    lacking: Sequence[str] = (),
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Together]:
    """For each flight what the flights up to it tell together.

    Parameters
    ----------
    book : Logbook
    name : str
        Of the aircraft.
    flights, listed, notes, profile, table, fleet
        As of :func:`telemetry.checks.across.replay`.
    lacking : sequence of str
        Ids of flights that the book lacks: from the first of them on nothing is kept.
    executor : Executor, optional
        Judges the flights that were not judged yet; without it this process does.
    progress : callable, optional
        Called after some of them: how many are done, of how many.
    """
    version = f"{VERSION} {version_for(profile)}{'' if fleet is None else f' {fleet}'}"
    keys = keys_of([_named(f) for f in listed], notes, version, lacking)
    kept = book.get_replay(name)
    known = _known(kept, keys)
    # The newest first: what is worked out for it serves those before it.
    missing = [k for k, key in reversed([*enumerate(keys)]) if key not in known]
    held = next((k for k, f in enumerate(listed) if f.id in lacking), len(listed))
    # What a log that the book lacks puts off is as it was without it.
    others = (kept.get("together") or {}) if lacking else {}
    size = max(_PIECE, -(-len(missing) // _PIECES))
    pieces = [missing[k : k + size] for k in range(0, len(missing), size)]
    here = (table or FeatureTable(flights)) if executor is None and pieces else None
    judge_piece = partial(_judged, flights, notes, profile, listed, here, fleet)
    done, kept_s = 0, monotonic()
    for piece, call in zip(
        pieces, calls(judge_piece, pieces, Crew(executor, len(pieces))), strict=True
    ):
        for k, docs in zip(piece, call(), strict=True):
            # As it will be read the next time, so that the next time says the same.
            known[keys[k]] = tuple(finding_of(doc) for doc in docs), docs
        done += len(piece)
        # Now and then: what was judged is not judged again after a break.
        over = done == len(missing) or monotonic() - kept_s > _KEPT_EVERY_S
        if over and missing[-1] < held:
            mine = {key: known[key][1] for key in keys[:held] if key in known}
            _keep(book, name, together={**others, **mine})
            kept_s = monotonic()
        if progress is not None:
            progress(done, len(missing))
    return [known[key][0] for key in keys]


def _judged(
    flights: Sequence[Measures],
    notes: Sequence[NoteMark],
    profile: Aircraft | None,
    listed: Sequence[HistoryFlight],
    table: FeatureTable | None,
    fleet: Fleet | None,
    piece: Sequence[int],
) -> list[list[dict[str, Any]]]:
    """What some flights, by index, tell together with those before each, as plain values."""
    table = FeatureTable(flights[: max(piece) + 1]) if table is None else table
    told = (together_at(k, flights, notes, profile, listed, table, fleet) for k in piece)
    return [[finding_document(f) for f in found] for found in told]


def _named(flight: HistoryFlight) -> str:
    """A flight by its id and the packs that it was said to be flown with."""
    return flight.id if flight.packs is None else f"{flight.id} {flight.packs}"


def keys_of(
    ids: Sequence[str], notes: Sequence[NoteMark], version: str, lacking: Sequence[str] = ()
) -> list[str]:
    """A key for each flight: of all flights up to it, the notes before it, and the version."""
    state = hashlib.sha256(version.encode())
    keys = []
    for k, flight in enumerate(ids):
        told = [asdict(n) for n in notes if n.before == k]
        state.update(json.dumps([flight, flight in lacking, told]).encode())
        keys.append(state.hexdigest()[:24])
    return keys


def with_earlier(book: Logbook, found: History, profile: Aircraft | None) -> History:
    """The history with what another version of the program answered for the same; keeps its own.

    What was answered is kept with the version that did: the same flights, notes and profile that
    get another answer are told as long as nothing is added.
    """
    others = "" if found.fleet is None else f" {found.fleet.aircraft} {found.fleet.flights}"
    rests_on = _profile_key(profile) + others
    same = keys_of([_named(f) for f in found.flights], found.notes, rests_on)[-1]
    tail = [asdict(n) for n in found.notes if n.before == len(found.flights)]
    events = hashlib.sha256(json.dumps([same, tail]).encode()).hexdigest()[:24]
    now = _standing(found)
    given = book.get_replay(found.name).get("given")
    earlier = None
    try:
        if given is not None and given["events"] == events:
            then = [StandingFinding(c, p, Level(level)) for c, p, level in given["open"]]
            level = Level(given["level"])
            if (level, then) != (found.verdict, now):
                earlier = EarlierAnswer(
                    program=str(given["program"]),
                    level=level,
                    gone=tuple(f for f in then if f not in now),
                    new=tuple(f for f in now if f not in then),
                )
            elif given["earlier"] is not None:
                earlier = _earlier_of(given["earlier"])
    except (KeyError, TypeError, ValueError):
        given = None  # another program's document
    told = {
        "events": events,
        "program": program(),
        "level": str(found.verdict),
        "open": [list(f) for f in now],
        "earlier": None if earlier is None else json.loads(json.dumps(asdict(earlier))),
    }
    if told != given:
        _keep(book, found.name, given=told)
    return replace(found, earlier=earlier)


def kept_standing(
    book: Logbook, name: str, make: Callable[[], AircraftStanding]
) -> AircraftStanding:
    """How an aircraft stands, kept in the book as long as nothing that it rests on has changed."""
    state = f"{program()} {book.state(name)}"
    with suppress(KeyError, TypeError, ValueError):  # another program's document
        doc = book.get_answer(name, state)
        if doc is not None:
            return AircraftStanding(**{**doc, "answer": _answer_of(doc["answer"])})
    standing = make()
    with suppress(BookError):  # a book that cannot be written to is judged again
        book.put_answer(name, state, asdict(standing))
    return standing


def _answer_of(doc: Mapping[str, Any] | None) -> Answer | None:
    if doc is None:
        return None
    earlier = None if doc["earlier"] is None else _earlier_of(doc["earlier"])
    return Answer(**{**doc, "level": Level(doc["level"]), "earlier": earlier})


def program() -> str:
    """Version of all that an answer depends on."""
    return f"{program_version() or 'not installed'}, checks {VERSION}, measures {MEASURES_VERSION}"


def _standing(found: History) -> list[StandingFinding]:
    return sorted(StandingFinding(f.code, f.place or "", f.level) for f in found.open)


def _earlier_of(doc: Mapping[str, Any]) -> EarlierAnswer:
    gone, new = (
        tuple(StandingFinding(c, p, Level(level)) for c, p, level in doc[name])
        for name in ("gone", "new")
    )
    return EarlierAnswer(program=doc["program"], level=Level(doc["level"]), gone=gone, new=new)


def _profile_key(profile: Aircraft | None) -> str:
    return "" if profile is None else profile.model_dump_json()


def _keep(book: Logbook, name: str, **parts: Mapping[str, Any]) -> None:
    with suppress(BookError):  # a book that cannot be written to is judged again
        book.put_replay(name, {**book.get_replay(name), **parts})


def _known(doc: Mapping[str, Any], keys: Sequence[str]) -> dict[str, Kept]:
    """What was kept of these keys; what cannot be read is judged again."""
    together = doc.get("together") or {}
    known = {}
    for key in keys:
        with suppress(KeyError, TypeError, ValueError):
            known[key] = tuple(finding_of(one) for one in together[key]), together[key]
    return known


def finding_document(finding: Finding) -> dict[str, Any]:
    """A finding as plain values for JSON."""
    return json.loads(json.dumps(asdict(finding), default=lambda x: x.item()))  # type: ignore[no-any-return]


def finding_of(doc: Mapping[str, Any]) -> Finding:
    """A finding from plain values, as :func:`finding_document` gave them."""
    change = doc["change"]
    more = {
        "level": Level(doc["level"]),
        "explanations": tuple(doc["explanations"]),
        "also": tuple(doc["also"]),
        "change": None if change is None else Change(**change),
        "causes": tuple(
            Cause(
                **{
                    **c,
                    "speaks_for": tuple(c["speaks_for"]),
                    "speaks_against": tuple(c["speaks_against"]),
                }
            )
            for c in doc["causes"]
        ),
    }
    return Finding(**{**doc, **more})
