"""The life of findings: flights and notes replayed in order, each finding opened and closed.

Nothing of it is stored: the same flights and notes give the same findings whenever they are asked.
A finding opens with the first flight that shows it, by its own review or together with the flights
before it, and stays as grave as it was until a note at its place closes it, or so many later
flights that would have shown it as its check says (:class:`telemetry.checks.check.Closing`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from telemetry.aircraft import Aircraft
from telemetry.checks.check import FITFUL, Closing
from telemetry.checks.listed import CODES
from telemetry.checks.tree import OF_SERVOS
from telemetry.results import ClosedBy, Finding, HistoryFlight, Level, NoteMark
from telemetry.trends.features.voltages import TOTAL
from telemetry.trends.measures import Measures, ReportedFinding

# A flight shows a fault gone only with this part of the current of the flights that showed it
# (heuristic).
_ENOUGH_LOAD = 0.7
# Without a declared step, what was accepted opens again where it has grown to so many times
# (heuristic).
_GROWN = 1.5
_GRAVE = (Level.GROUND, Level.WATCH)
# Whose current stands for that of a place without one of its own.
_ALL = (TOTAL, "bus")


def lives_of(
    flights: Sequence[Measures],
    listed: Sequence[HistoryFlight],
    notes: Sequence[NoteMark],
    aircraft: Aircraft,
    together: Sequence[Sequence[Finding]],
) -> list[Finding]:
    """The findings of an aircraft, open and closed.

    Parameters
    ----------
    flights : sequence of Measures
        In time order.
    listed : sequence of HistoryFlight
        The same flights as they are named.
    notes : sequence of NoteMark
        ``before`` counts flights of this sequence.
    aircraft : Aircraft
    together : sequence of sequences of Finding
        For each flight, what the flights up to it tell together.

    Returns
    -------
    list of Finding
        Open ones first, the worst first; then closed ones, the last closed first. Each with the
        first and the last flight that showed it, and what closed it.
    """
    replay = _Replay(flights, listed, aircraft)
    waiting = sorted(notes, key=lambda n: n.before)
    for k in range(len(flights)):
        while waiting and waiting[0].before <= k:
            replay.note(waiting.pop(0))
        replay.flight(k, together[k])
    for note in waiting:
        replay.note(note)
    return replay.findings()


@dataclass(slots=True)
class _Shown:
    """What one flight showed, by its own review or with those before it."""

    finding: Finding
    lasts: bool
    size: float | None
    across: bool


@dataclass(slots=True)
class _Life:
    """One finding at one place: who showed it, how often, and how many good flights since."""

    code: str
    place: str
    began: int
    alone: bool = False  # some flight showed it by its own review
    across: bool = False  # the flights together showed it
    bench: bool = True  # only bench recordings showed it
    held: Level = Level.CLEAR  # as grave as this it stays until a note
    load_a: float | None = None
    seen: int = -1
    flights: int = 0
    # By level: flights that showed it as grave or graver, the last of them, good ones since then;
    # and what the last one showed that was just as grave.
    shows: dict[Level, int] = field(default_factory=dict)
    last: dict[Level, int] = field(default_factory=dict)
    good: dict[Level, int] = field(default_factory=dict)
    told: dict[Level, tuple[int, _Shown]] = field(default_factory=dict)
    closed: ClosedBy | None = None

    @property
    def closing(self) -> Closing:
        return CODES[self.code].closing if self.code in CODES else Closing()

    def level(self) -> Level:
        """The worst level at which it is not shown gone; clear where it is at all."""
        for level in (*_GRAVE, Level.UNKNOWN):
            count = self.shows.get(level, 0)
            if count and (self.held >= level or self.good[level] < self._needed(level)):
                return level
        return Level.CLEAR

    def _needed(self, level: Level) -> int:
        """Good flights that close it: one where a single flight said watch."""
        alone = level is Level.UNKNOWN or (level is Level.WATCH and self.shows[level] == 1)
        return 1 if alone else self.closing.flights

    def show(self, k: int, shown: _Shown, *, bench: bool, load_a: float | None) -> None:
        """A flight shows it."""
        self.closed = None
        if self.seen != k:
            self.flights += 1
        self.seen, self.bench = k, self.bench and bench
        self.across |= shown.across
        self.alone |= not shown.across
        if load_a is not None:
            self.load_a = load_a if self.load_a is None else min(self.load_a, load_a)
        level = shown.finding.level
        if shown.lasts:
            self.held = max(self.held, level)
        for one in (*_GRAVE, Level.UNKNOWN):
            if level >= one:
                self.shows[one] = self.shows.get(one, 0) + (self.last.get(one) != k)
                self.last[one], self.good[one] = k, 0
        # At one level all flights together tell more than the review of one.
        if shown.across or self.told.get(level, (-1,))[0] != k:
            self.told[level] = (k, shown)

    def pass_by(self, k: int) -> None:
        """A flight that would have shown it is a good one at the levels that it does not show."""
        for level, last in self.last.items():
            if last != k:
                self.good[level] += 1

    def record(self, level: Level) -> tuple[int, _Shown]:
        """The last flight that showed it at this level, and what it showed."""
        return self.told.get(level) or max(self.told.values(), key=lambda told: told[0])


@dataclass(slots=True)
class _Accepted:
    """What a note of kind checked accepted: the level, and how bad it was by each measure."""

    level: Level
    alone: float | None = None
    across: float | None = None


class _Replay:
    """Flights and notes in their order."""

    def __init__(
        self, flights: Sequence[Measures], listed: Sequence[HistoryFlight], aircraft: Aircraft
    ) -> None:
        self.flights, self.listed, self.aircraft = flights, listed, aircraft
        self.index = {one.id: k for k, one in enumerate(listed)}
        self.open: dict[tuple[str, str], _Life] = {}
        self.closed: list[_Life] = []
        self.accepted: dict[tuple[str, str], _Accepted] = {}
        self.flown = False

    # Flights.

    def flight(self, k: int, together: Sequence[Finding]) -> None:
        """What a flight shows opens; what it would have shown and does not is nearer its end."""
        m = self.flights[k]
        bench = m.kind != "flight"
        self.flown |= not bench
        for shown in self._shown(m, together):
            key = (shown.finding.code, shown.finding.place or "")
            if self._is_accepted(key, shown):
                continue
            life = self.open.get(key) or self._again(key, k) or _Life(*key, began=k)
            life.show(k, shown, bench=bench, load_a=m.highest_a(key[1], *_ALL))
            self.open[key] = life
        for key, life in list(self.open.items()):
            if self._laid_elsewhere(life, k, together):
                life.held = Level.CLEAR
            if self._would_show(life, m):
                life.pass_by(k)
            if life.level() is Level.CLEAR:
                life.closed = ClosedBy(
                    kind="flights",
                    date=self.listed[k].start,
                    before=life.seen + 1,
                    flights=max(life.good.values(), default=0),
                )
                self.closed.append(self.open.pop(key))

    def _shown(self, m: Measures, together: Sequence[Finding]) -> list[_Shown]:
        thin = self.flown and m.kind != "flight"  # a bench recording takes nothing back
        servos = [f for f in together if f.code in OF_SERVOS]
        alone = [
            _Shown(_of_review(r), r.lasts, r.size, across=False)
            for r in m.reported
            if r.level > (Level.UNKNOWN if thin else Level.CLEAR)
            # Of two places either may be at fault by one flight: all together tell which.
            and not any(f.place == r.or_place and f.level >= r.level for f in servos)
        ]
        return alone + [
            _Shown(
                f,
                f.level is Level.GROUND and CODES[f.code].closing.across_note_only,
                None if f.change is None else abs(f.change.rise),
                across=True,
            )
            for f in together
            if f.level > Level.CLEAR
        ]

    def _again(self, key: tuple[str, str], k: int) -> _Life | None:
        """A finding that flights closed and that is back soon: it was not gone."""
        for life in reversed(self.closed):
            if (life.code, life.place) == key:
                closed = life.closed
                if closed is None or closed.kind != "flights" or k - life.seen > FITFUL:
                    return None
                self.closed.remove(life)
                return life
        return None

    def _would_show(self, life: _Life, m: Measures) -> bool:
        """Whether this flight would have shown it: judged there, of its kind, with enough load."""
        if life.shows.keys() == {Level.UNKNOWN}:
            return m.kind == "flight" or life.bench
        if m.kind != "flight" and not life.bench:
            return False
        looked = not life.alone or life.place in m.judged.get(life.code, ())
        if not looked or (life.across and not m.measured_at(life.place)):
            return False
        load_a = m.highest_a(life.place, *_ALL)
        return life.load_a is None or (load_a is not None and load_a >= _ENOUGH_LOAD * life.load_a)

    def _laid_elsewhere(self, life: _Life, k: int, together: Sequence[Finding]) -> bool:
        """Whether the flights together now lay to the mirror what they laid to this place.

        A ratio of two places moves alike when the one draws less and when the other draws more.
        """
        if life.alone or life.seen == k:
            return False
        for f in together:
            since = self.index.get(f.since_flight or "", k)
            same = f.code in life.closing.instead and since <= life.seen
            if same and f.place and self.aircraft.mirror(life.place, (f.place,)) == f.place:
                return True
        return False

    # Notes.

    def note(self, note: NoteMark) -> None:
        """A note closes what stands at its place; one of kind checked accepts it as it is."""
        if note.place is None or note.kind not in ("repaired", "changed", "checked"):
            return
        for key, life in list(self.open.items()):
            if not note.concerns(life.place, self.aircraft):
                continue
            if note.kind == "checked":
                if life.held > Level.CLEAR and life.closing.lost:
                    continue
                self.accepted[key] = self._accept(life)
            life.closed = ClosedBy(
                kind=note.kind,  # type: ignore[arg-type]
                date=note.date,
                before=note.before,
                place=note.place,
                text=note.text,
            )
            self.closed.append(self.open.pop(key))
        if note.restarts:
            for key in [k for k in self.accepted if note.concerns(k[1], self.aircraft)]:
                del self.accepted[key]

    def _accept(self, life: _Life) -> _Accepted:
        told = sorted(life.told.values(), key=lambda t: t[0])
        sizes = {shown.across: shown.size for _, shown in told}
        return _Accepted(level=life.level(), alone=sizes.get(False), across=sizes.get(True))

    def _is_accepted(self, key: tuple[str, str], shown: _Shown) -> bool:
        """Whether a note of kind checked accepted this, or the same matter by another check."""
        known = self.accepted.get(key)
        if known is None:
            matter = (self.accepted.get((code, key[1])) for code in same_matter(key[0]))
            return any(a is not None and shown.finding.level <= a.level for a in matter)
        if shown.finding.level > known.level:
            return False
        accepted = known.across if shown.across else known.alone
        if accepted is None or shown.size is None:
            return True
        check = CODES[key[0]]
        if shown.across:
            step = check.rise_step
            grown = (_GROWN - 1.0) * accepted if step is None else step(self.aircraft.limits)
            return shown.size < accepted + grown
        if check.worst_step is None:
            return True
        worse = accepted - shown.size if check.lower_is_worse else shown.size - accepted
        return worse < check.worst_step

    # What comes of it.

    def findings(self) -> list[Finding]:
        """All findings, each told once: what another check tells as gravely is left out."""
        lives = [*self.open.values(), *self.closed]
        told = [life for life in lives if not any(_covers(o, life) for o in lives if o is not life)]
        opened = [self._finding(life) for life in told if life.closed is None]
        closed = [life for life in told if life.closed is not None and _worst(life) in _GRAVE]
        closed.sort(key=lambda x: -max(x.seen, x.closed.before if x.closed else 0))
        return [
            *sorted(opened, key=lambda f: -f.level.rank),
            *(self._finding(life) for life in closed),
        ]

    def _finding(self, life: _Life) -> Finding:
        level = life.level() if life.closed is None else _worst(life)
        at, shown = life.record(level)
        finding, newest = shown.finding, life.closed is None and at == len(self.flights) - 1
        began = life.began
        if life.across and finding.since_flight is not None:
            onset = self.index.get(finding.since_flight, began)
            began = min(onset, began) if life.alone else onset
        return replace(
            finding,
            level=level,
            title=finding.title + ("" if shown.across else _often(life.flights)) + self._ago(life),
            evidence={**finding.evidence, **self._evidence(life, at, began, shown)},
            since_flight=self.listed[began].id,
            last_flight=self.listed[life.seen].id,
            change=finding.change.past() if finding.change and not newest else finding.change,
            state="open" if life.closed is None else "closed",
            closed_by=life.closed,
        )

    def _evidence(
        self, life: _Life, at: int, began: int, shown: _Shown
    ) -> dict[str, float | int | str | None]:
        more: dict[str, float | int | str | None] = {"flights_since": len(self.flights) - began}
        if not shown.across:
            more |= {"flights_with": life.flights, "gravest_flight": self.listed[at].file}
        if life.closed is None and life.seen < len(self.flights) - 1:
            level = life.level()
            more["good_flights"] = life.good[level]
            if life.held < level:
                more["good_flights_needed"] = life.closing.flights
        return more

    def _ago(self, life: _Life) -> str:
        flights = len(self.flights) - 1 - life.seen
        if flights == 0 or life.closed is not None:
            return ""
        ago = "the flight" if flights == 1 else f"the {flights} flights"
        note = ", but no repair is noted" if life.held >= life.level() else ""
        return f"; not seen in {ago} since{note}"


def _worst(life: _Life) -> Level:
    return max(life.shows, key=lambda level: level.rank)


def _covers(one: _Life, other: _Life) -> bool:
    """Whether the flights together tell the same fault at least as gravely, over the same time."""
    if one.place != other.place or one.code not in same_matter(other.code):
        return False
    if other.closed is None:
        return one.closed is None and one.level() >= other.level()
    return one.began <= other.seen and _worst(one) >= _worst(other)


def same_matter(code: str) -> tuple[str, ...]:
    """Codes across flights that report the same fault."""
    return CODES[code].same_matter if code in CODES else ()


def _of_review(reported: ReportedFinding) -> Finding:
    return Finding(
        code=reported.code,
        level=reported.level,
        place=reported.place or None,
        title=reported.title,
        explanations=tuple(c.cause for c in reported.causes),
        causes=reported.causes,
        ranked=reported.ranked,
        confirm=reported.confirm,
        advice=reported.advice,
    )


def _often(flights: int) -> str:
    return "" if flights == 1 else f"; {flights} flights show it, each by itself"
