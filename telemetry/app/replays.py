"""What the flights up to each one tell together: kept in the book, judged once.

It depends on the flights up to there, their order, the notes among them and the profile, and on
nothing else. Each flight has a key made of all that, so that what was judged is found again as long
as nothing before it changed, and a flight more costs one judgement.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict
from typing import Any

from telemetry.aircraft import Aircraft
from telemetry.app.cache import version_for
from telemetry.book import Logbook
from telemetry.checks.across import together_at
from telemetry.model.errors import BookError
from telemetry.results import Cause, Change, Finding, HistoryFlight, Level, NoteMark
from telemetry.trends.measures import Measures

#: Version of what is judged across flights; raised where a check changes what it finds.
VERSION = "1"

Together = tuple[Finding, ...]


def together_of(
    book: Logbook,
    name: str,
    flights: Sequence[Measures],
    listed: Sequence[HistoryFlight],
    notes: Sequence[NoteMark],
    profile: Aircraft | None,
    *,
    lacking: Sequence[str] = (),
    progress: Callable[[int, int], None] | None = None,
) -> list[Together]:
    """For each flight what the flights up to it tell together.

    Parameters
    ----------
    book : Logbook
    name : str
        Of the aircraft.
    flights, listed, notes, profile
        As of :func:`telemetry.checks.across.replay`.
    lacking : sequence of str
        Ids of flights that the book lacks: from the first of them on nothing is kept.
    progress : callable, optional
        Called after each flight that had to be judged: how many are done, of how many.
    """
    keys = keys_of([f.id for f in listed], notes, version_for(profile), lacking)
    known = _known(book.get_replay(name))
    missing = [k for k, key in enumerate(keys) if key not in known]
    for done, k in enumerate(missing, 1):
        found = together_at(k, flights, notes, profile, listed)
        # As it will be read the next time, so that the next time says the same.
        known[keys[k]] = [finding_document(f) for f in found]
        if progress is not None:
            progress(done, len(missing))
    held = next((k for k, f in enumerate(listed) if f.id in lacking), len(listed))
    if any(k < held for k in missing):
        with suppress(BookError):  # a book that cannot be written to is judged again
            book.put_replay(name, {"together": {key: known[key] for key in keys[:held]}})
    return [tuple(map(finding_of, known[key])) for key in keys]


def keys_of(
    ids: Sequence[str], notes: Sequence[NoteMark], version: str, lacking: Sequence[str] = ()
) -> list[str]:
    """A key for each flight: of all flights up to it, the notes before it, and the version."""
    state = hashlib.sha256(f"{VERSION} {version}".encode())
    keys = []
    for k, flight in enumerate(ids):
        told = [asdict(n) for n in notes if n.before == k]
        state.update(json.dumps([flight, flight in lacking, told]).encode())
        keys.append(state.hexdigest()[:24])
    return keys


def _known(doc: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    kept = doc.get("together")
    return dict(kept) if isinstance(kept, dict) else {}


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
