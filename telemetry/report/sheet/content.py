"""What stands on the sheet of an aircraft, as plain records; nothing of how it is set."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from telemetry.aircraft import Aircraft, Limits
from telemetry.model.channels import EVERY_PLACE
from telemetry.model.text import plain
from telemetry.model.version import made_by
from telemetry.report.parts.first_page import by_gravity
from telemetry.report.parts.method import BEFORE_BENCH
from telemetry.report.words import (
    LEVEL_WORD,
    answer_words,
    counted,
    date_words,
    flights_counted,
    limit_words,
    quoted,
    sentence,
)
from telemetry.results import (
    CheckOutcome,
    Finding,
    History,
    HistoryFlight,
    Level,
    NotJudged,
    Review,
)
from telemetry.results.findings import standing_alone

#: Entries of a list on the sheet, at the most: beyond, no page holds them.
_MOST = 14
# Letters of one entry, at the most.
_LONGEST = 360
_RULES = (
    "Advice from logs, no proof of airworthiness: it replaces no inspection and no rule of your "
    "federation, authority, club or site; data sheets and those who sign off decide."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetList:
    """A list that may be cut: what is shown, and how many more there are."""

    items: tuple[str, ...]
    left_out: int = 0

    @classmethod
    def of(cls, items: Iterable[str]) -> SheetList:
        """Each item once, in order, none longer than a few lines."""
        every = list(dict.fromkeys(items))
        cut = (x if len(x) <= _LONGEST else f"{x[: _LONGEST - 3].rstrip()}..." for x in every)
        return cls(items=tuple(cut)[:_MOST], left_out=max(0, len(every) - _MOST))

    def shorter(self) -> SheetList:
        """The same with the last item counted instead of shown."""
        return SheetList(items=self.items[:-1], left_out=self.left_out + 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldSheet:
    """Everything on the one page.

    Attributes
    ----------
    aircraft, held : str
        Its name; what the book holds of it.
    level, word, reason, since
        The aircraft's answer.
    cautions : tuple of str
        They stand first.
    findings, checks : SheetList
        Open findings, the worst first; bench checks, each with a box to tick.
    logs, limits, not_judged : SheetList
        For the inspector: logs with their SHA-256, limits changed from their default, and what
        could not be judged of the newest flight.
    more : str
        The command that shows what is left out.
    footer : str
        The program with its version.
    """

    aircraft: str
    held: str
    level: Level
    word: str
    reason: str
    since: str
    cautions: tuple[str, ...]
    findings: SheetList
    checks: SheetList
    logs: SheetList
    limits: SheetList
    not_judged: SheetList
    more: str
    footer: str

    def shorter(self) -> FieldSheet | None:
        """The same with one entry less, where it is missed least; None where none can go.

        The inspector's lists first, down to one entry each, then checks and findings in turn: of
        these one stays.
        """
        if len(self.logs.items) > 1:
            return replace(self, logs=self.logs.shorter())
        if len(self.not_judged.items) > 1:
            return replace(self, not_judged=self.not_judged.shorter())
        if len(self.limits.items) > 1:
            return replace(self, limits=self.limits.shorter())
        checks, findings = len(self.checks.items), len(self.findings.items)
        if checks > 1 and checks >= findings:
            return replace(self, checks=self.checks.shorter())
        return replace(self, findings=self.findings.shorter()) if findings > 1 else None


def sheet_of(history: History, newest: Review, hashes: dict[str, str]) -> FieldSheet:
    """The sheet of an aircraft.

    Parameters
    ----------
    history : History
    newest : Review
        Of the newest flight.
    hashes : dict of str to str
        SHA-256 of the log of each flight, by the flight's id.
    """
    answer = history.answer
    found = [f for f in standing_alone(by_gravity(history.open)) if f.level > Level.CLEAR]
    number = {one.id: n for n, one in enumerate(history.flights, 1)}
    return FieldSheet(
        aircraft=plain(history.name),
        held=f"{flights_counted(f.kind for f in history.flights)} in the book",
        level=answer.level,
        word=answer.word,
        reason=sentence(answer.title),
        since=sentence(answer_words(answer)),
        cautions=(BEFORE_BENCH, _RULES),
        findings=SheetList.of(_finding(f, number) for f in found),
        checks=SheetList.of(_checks(found)),
        logs=SheetList.of(_logs(history, found, hashes)),
        limits=SheetList.of(_changed(history.aircraft)),
        not_judged=SheetList.of(_not_judged(newest.checks)),
        more=f"busbook history {quoted(history.name)}",
        footer=made_by(),
    )


def _finding(finding: Finding, number: dict[str, int]) -> str:
    since = number.get(finding.since_flight or "")
    when = "" if since is None else f" (since flight {since})"
    title = sentence(finding.title).rstrip(".")
    until = "" if finding.change is None else limit_words(finding.change)
    limit = f" Next limit: {until}." if until else ""
    return f"{LEVEL_WORD[finding.level]}: {title}{when}.{limit} {sentence(finding.advice)}"


def _checks(findings: Sequence[Finding]) -> list[str]:
    """What to do on the bench: each check once, with its places, the worst first."""
    asked: dict[str, dict[str, None]] = {}
    for finding in findings:
        if finding.confirm:
            places = asked.setdefault(sentence(finding.confirm), {})
            places[plain(finding.place or "whole aircraft")] = None
    tests = []
    for text, places in asked.items():
        named = ", ".join("every place" if p == EVERY_PLACE else p for p in places)
        tests.append(f"{named[0].upper()}{named[1:]}: {text}")
    return [*tests, "The usual checks before flight, by your own list."]


def _logs(history: History, findings: Sequence[Finding], hashes: dict[str, str]) -> list[str]:
    """Logs that the answer rests on: the newest, those that findings began with, then the rest."""
    began = {f.since_flight for f in findings}
    newest_first = list(reversed(list(enumerate(history.flights, 1))))
    first = [one for n, one in newest_first if n == len(history.flights) or one.id in began]
    ordered = sorted(newest_first, key=lambda numbered: numbered[1] not in first)
    return [_log(n, one, hashes.get(one.id, "not in the book")) for n, one in ordered]


def _log(number: int, flight: HistoryFlight, sha256: str) -> str:
    day = "no date" if flight.start is None else date_words(flight.start[:10])
    return f"Flight {number}, {day}, {plain(flight.file)}: SHA-256 {sha256}"


def _changed(aircraft: Aircraft) -> list[str]:
    """Limits that the profile sets otherwise than the program does."""
    ours, default = aircraft.limits.model_dump(), Limits().model_dump()
    changed = [
        f"{name} {value:g} (default {'none' if default[name] is None else f'{default[name]:g}'})"
        for name, value in ours.items()
        if value is not None and value != default[name]
    ]
    own = [
        f"{name} of {plain(node.name)} {value:g}"
        for node in aircraft.nodes
        for name, value in (("restart_v", node.restart_v), ("comfort_v", node.comfort_v))
        if value is not None
    ]
    return [*changed, *own] or ["None: all limits are the program's defaults."]


def _not_judged(checks: Sequence[CheckOutcome]) -> list[str]:
    """Checks of the newest flight that did not judge a place, those that are essential first."""
    groups: dict[tuple[str, str], list[CheckOutcome]] = {}
    for o in sorted(checks, key=lambda o: not o.lacking):
        if o.reason not in (None, NotJudged.TOO_FEW_FLIGHTS):
            groups.setdefault((o.code, o.why or ""), []).append(o)
    told = []
    for (code, why), same in groups.items():
        places = [plain(o.place) for o in same if o.place is not None]
        where = f" at {', '.join(dict.fromkeys(places))}" if places else ""
        weight = "essential, " if any(o.lacking for o in same) else ""
        told.append(f"{code}{where}: {weight}{plain(why)}")
    return told or ["None: every check judged every place."]


def inspector_lists(sheet: FieldSheet) -> tuple[tuple[str, SheetList, str], ...]:
    """The lists for the inspector: title, entries, and what one more of them is called."""
    return (
        ("Limits changed from their default", sheet.limits, "limit"),
        ("Checks that could not judge the newest flight", sheet.not_judged, "check"),
        ("The logs behind it", sheet.logs, "log"),
    )


def left_words(part: SheetList, noun: str, more: str) -> str:
    """What stands below a cut list: "3 more findings: busbook history tern"; "" for a whole."""
    if not part.left_out:
        return ""
    return f"{counted(part.left_out, f'more {noun}')}: {more}"
