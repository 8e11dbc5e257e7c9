"""The causes of a finding, the likeliest first, with what the log says for and against each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import TypeVar

from telemetry.checks.causes.kinds import CauseKind
from telemetry.checks.causes.signs import Sign
from telemetry.checks.causes.table import TABLE, Weight
from telemetry.checks.draft import FindingDraft, Possible, Words
from telemetry.checks.facts import FlightFacts
from telemetry.results import Cause

_Facts = TypeVar("_Facts")


def with_causes(
    draft: FindingDraft, standing: Words | None, facts: FlightFacts
) -> tuple[tuple[Cause, ...], bool]:
    """The causes of a finding in one log, and whether it ranks them."""
    return ranked(draft.possible(standing), draft, facts, TABLE)


def ranked(
    possible: Iterable[Possible],
    draft: FindingDraft,
    facts: _Facts,
    table: Mapping[CauseKind, Mapping[Callable[[_Facts, FindingDraft], Sign | None], Weight]],
) -> tuple[tuple[Cause, ...], bool]:
    """Causes by what their signs add up to, and whether the first is the likeliest.

    Of equal ones the order in which the check names them stays. They are ranked where something
    speaks for the first, and more than for the second.
    """
    weighed = [_weighed(p, draft, facts, table.get(p.kind, {})) for p in possible]
    weighed.sort(key=lambda w: -w[1])
    scores = [score for _, score in weighed]
    likeliest = len(scores) == 1 or (len(scores) > 1 and scores[0] > max(scores[1], 0))
    return tuple(cause for cause, _ in weighed), likeliest


def _weighed(
    p: Possible,
    draft: FindingDraft,
    facts: _Facts,
    looks: Mapping[Callable[[_Facts, FindingDraft], Sign | None], Weight],
) -> tuple[Cause, int]:
    speaks_for: list[str] = []
    against: list[str] = []
    score = 0
    for look, (there, absent) in looks.items():
        sign = look(facts, draft)
        points = 0 if sign is None else there if sign.present else absent
        if sign is not None and points:
            score += points
            (speaks_for if points > 0 else against).append(sign.words)
    return (
        Cause(
            kind=p.kind,
            cause=p.text,
            speaks_for=tuple(speaks_for),
            speaks_against=tuple(against),
        ),
        score,
    )
