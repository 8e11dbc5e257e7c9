"""What each check came to at each place: passed, found, or not judged and why.

In one log, and across the flights of an aircraft.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from telemetry.checks.aircraft_history import JudgedAcross, Unjudged, told_least
from telemetry.checks.check import Check
from telemetry.checks.facts import FlightFacts
from telemetry.checks.needs import Needs, Refusal, lacking
from telemetry.results import CheckOutcome, Finding, Level, NotJudged, OutcomeKind

#: Of a check that compares flights, in the list of one log.
ACROSS_ONLY = Refusal(
    NotJudged.TOO_FEW_FLIGHTS,
    "it compares flights",
    "add this log and later ones to the book",
)
_NOTHING = "no place of these flights has what it takes"
# Of several flights in one file the least favourable outcome counts.
_ORDER = (OutcomeKind.FOUND, "lacking", OutcomeKind.PASSED, OutcomeKind.NOT_JUDGED)


def outcomes_of(
    checks: Iterable[Check], flights: Sequence[FlightFacts], findings: Sequence[Finding]
) -> tuple[CheckOutcome, ...]:
    """The outcome of every check at every place, in the order of the list.

    Parameters
    ----------
    checks : iterable of Check
    flights : sequence of FlightFacts
        Of one recording.
    findings : sequence of Finding
        What these checks found in it.
    """
    return tuple(o for check in checks for o in _of_check(check, flights, findings))


def _of_check(
    check: Check, flights: Sequence[FlightFacts], findings: Sequence[Finding]
) -> Iterator[CheckOutcome]:
    told = [f for f in findings if f.code == check.code and f.level > Level.CLEAR]
    if check.needs is not None:
        # What a check could not tell is no find of it: it says why it did not judge.
        told = [f for f in told if f.level > Level.UNKNOWN]
    found = [place for f in told for place in (f.place, *f.also)]
    if check.needs is None:
        for place in dict.fromkeys(found):
            yield found_at(check, place)
        if not found and check.across and check.words is None:
            yield _refused(check, None, ACROSS_ONLY)
        return
    asked = [place for facts in flights for place in check.needs.at(facts)]
    for place in dict.fromkeys([*asked, *found]):
        if place in found:
            yield found_at(check, place)
        else:
            each = [_at(check, check.needs, facts, place) for facts in flights]
            yield min(each, key=lambda o: _ORDER.index("lacking" if o.lacking else o.outcome))


def _at(check: Check, needs: Needs, facts: FlightFacts, place: str | None) -> CheckOutcome:
    """One check at one place of one flight, where it found nothing."""
    found = lacking(needs, facts, place)
    seen = found or (None if check.sees is None else check.sees(facts, place))
    if isinstance(seen, Refusal):
        return _refused(check, place, seen, needs)
    return _outcome(
        check, place, OutcomeKind.PASSED, essential=needs.essential != "never", sees=seen
    )


def _refused(
    check: Check, place: str | None, refusal: Refusal, needs: Needs | None = None
) -> CheckOutcome:
    weight = "never" if needs is None else needs.essential
    essential = weight == "always" or (weight == "logged" and refusal.reason.of_the_log)
    return CheckOutcome(
        code=check.code,
        question=check.question,
        place=place,
        outcome=OutcomeKind.NOT_JUDGED,
        essential=essential,
        reason=refusal.reason,
        why=refusal.why,
        next_time=refusal.next_time,
        keys=refusal.keys,
    )


def found_at(check: Check, place: str | None) -> CheckOutcome:
    """A check that found something at a place."""
    essential = check.needs is not None and check.needs.essential != "never"
    return _outcome(check, place, OutcomeKind.FOUND, essential=essential)


def _outcome(
    check: Check,
    place: str | None,
    outcome: OutcomeKind,
    *,
    essential: bool = False,
    sees: str | None = None,
) -> CheckOutcome:
    return CheckOutcome(
        code=check.code,
        question=check.question,
        place=place,
        outcome=outcome,
        essential=essential,
        sees=sees,
    )


def outcomes_across(
    checks: Iterable[Check], judged: JudgedAcross, findings: Sequence[Finding]
) -> tuple[CheckOutcome, ...]:
    """The outcome of every check that compares flights, and of every other that found something.

    Parameters
    ----------
    checks : iterable of Check
    judged : JudgedAcross
        What their functions judged, at each place that they looked at.
    findings : sequence of Finding
        Of the history, those of single flights that stand among them.
    """
    return tuple(o for check in checks for o in _of_check_across(check, judged, findings))


def _of_check_across(
    check: Check, judged: JudgedAcross, findings: Sequence[Finding]
) -> Iterator[CheckOutcome]:
    told = [f for f in findings if f.code == check.code and f.level > Level.CLEAR]
    found = dict.fromkeys(place for f in told for place in (f.place, *f.also))
    for place in found:
        yield _outcome(check, place, OutcomeKind.FOUND)
    if not check.across:
        return
    seen = {t.place: told_least(t) for t in judged.trends if t.code == check.code}
    seen |= {x.place: x.sees for x in judged.looked if x.code == check.code}
    for place, sees in seen.items():
        if place not in found:
            yield _across(check, place, sees=sees)
    left = [u for u in judged.not_judged if check.code in u.codes]
    for u in {u.place: u for u in reversed(left)}.values():
        if u.place not in found and u.place not in seen:
            yield _across(check, u.place, unjudged=u)
    if not (found or seen or left):
        none = Unjudged(
            (check.code,),
            None,
            NotJudged.NO_COLUMN,
            _NOTHING,
            "log voltage and current of each place",
        )
        yield _across(check, None, unjudged=none)


def _across(
    check: Check, place: str | None, sees: str | None = None, unjudged: Unjudged | None = None
) -> CheckOutcome:
    return CheckOutcome(
        code=check.code,
        question=check.question,
        place=place,
        outcome=OutcomeKind.PASSED if unjudged is None else OutcomeKind.NOT_JUDGED,
        sees=sees,
        reason=None if unjudged is None else unjudged.reason,
        why=None if unjudged is None else unjudged.why,
        next_time=None if unjudged is None else unjudged.next_time,
    )
