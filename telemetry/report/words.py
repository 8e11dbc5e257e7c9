"""How a report words levels, times and numbers.

A number never shows more digits than the resolution of the column it came from, and what was not
measured is said so in words.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from telemetry.model.channels import CANONICAL_UNIT, Quantity
from telemetry.model.text import plain
from telemetry.results import (
    Answer,
    Change,
    EventKind,
    Evidence,
    Level,
    Origin,
    PhaseKind,
    Review,
)

NOT_MEASURED = "not measured"
#: The same in a cell of a table.
NONE = "-"
#: What stands between a number that is not known and the command that would make it known.
TO_KNOW = "known once the profile says, with your values for the words in capitals:"
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)

LEVEL_WORD = {level: level.word for level in Level}
# The shape that stands for a level where only plain characters can be shown.
LEVEL_SIGN = {
    Level.CLEAR: "( )",
    Level.UNKNOWN: "<?>",
    Level.WATCH: "/!\\",
    Level.GROUND: "!!!",
}
# How an aircraft, or a log, stands, within a sentence.
LEVEL_STATE = {
    Level.CLEAR: "nothing found",
    Level.UNKNOWN: "cannot be judged",
    Level.WATCH: "watch",
    Level.GROUND: "ground",
}
LEVEL_MEANING = {
    Level.GROUND: "do not fly until the named thing is fixed or explained",
    Level.WATCH: "look at the named thing, and compare it after the next flight",
    Level.UNKNOWN: "this log cannot tell; what would tell is named",
    Level.CLEAR: "nothing found in this log; that is no proof that nothing is wrong",
}
EVENT_WORD = {
    EventKind.SAG: "sag",
    EventKind.SHIFT: "level shift",
    EventKind.UNDERVOLTAGE: "undervoltage",
    EventKind.SPIKE: "current spike",
    EventKind.BROWNOUT: "brownout",
}
PHASE_WORD = {
    PhaseKind.GROUND: "ground",
    PhaseKind.STIR: "stir",
    PhaseKind.FLIGHT: "flight",
    PhaseKind.REDUNDANCY_CHECK: "redundancy check",
}
ORIGIN_WORD = {
    Origin.LOAD: "load",
    Origin.CONTACT: "contact or lead",
    Origin.SUPPLY: "supply",
    Origin.PACK: "pack",
    Origin.SENSOR: "sensor",
    Origin.UNKNOWN: "not known",
}
EVIDENCE_WORD = {
    Evidence.REAL: "in the aircraft",
    Evidence.TELEMETRY: "in the telemetry only",
    Evidence.UNKNOWN: "not known",
}
CASE_WORD = {
    "pack-lost": "one pack lost",
    "return-level": "peak of many flights",
    "all-stalled": "all servos stalled",
}
RESISTANCE_WORD = {
    "source": "source",
    "branch": "lead and contacts",
    "apparent": "apparent, against total current",
}

# Digits shown where a column's resolution is not known: a coarse guess shows too few, not too many.
_USUAL_STEP = {"V": 0.01, "A": 0.1, "mAh": 1.0, "mOhm": 1.0, "s": 0.1, "%": 1.0}
_MOST_DECIMALS = 3


def decimals_of(step: float) -> int:
    """Decimals that a resolution allows.

    Parameters
    ----------
    step : float
        Smallest step of the column, in its own unit.

    Returns
    -------
    int
        Those that write the step itself where it is a short number (0.1 -> 1, 0.05 -> 2,
        0.25 -> 2); otherwise the last decimal is coarser than the step (0.0049 -> 2).
    """
    if not step > 0 or not math.isfinite(step):
        return 0
    for places in range(_MOST_DECIMALS + 1):
        scaled = step * 10**places
        if round(scaled) >= 1 and math.isclose(scaled, round(scaled), rel_tol=1e-6):
            return places
    return min(_MOST_DECIMALS, max(0, math.floor(-math.log10(step) + 1e-9)))


def number(value: float | None, step: float, missing: str = NOT_MEASURED) -> str:
    """A value to the digits that ``step`` allows; ``missing`` for None and NaN."""
    if value is None or not math.isfinite(value):
        return missing
    text = f"{value:.{decimals_of(step)}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def measure(value: float | None, unit: str, step: float | None = None) -> str:
    """A value with its unit: "4.81 V"; "not measured" for None."""
    if value is None or not math.isfinite(value):
        return NOT_MEASURED
    return f"{number(value, usual_step(unit) if step is None else step)} {unit}".rstrip()


def usual_step(unit: str) -> float:
    """Resolution shown of a unit where the column's is not known."""
    return _USUAL_STEP.get(unit, 0.01)


def clock(seconds: float | None) -> str:
    """Time of the recording as mm:ss, hours counted as minutes; "--:--" for None."""
    if seconds is None or not math.isfinite(seconds):
        return "--:--"
    whole = math.floor(seconds + 1e-6)
    sign, whole = ("-", -whole) if whole < 0 else ("", whole)
    return f"{sign}{whole // 60:02d}:{whole % 60:02d}"


def lasting(seconds: float | None) -> str:
    """A duration in plain words: "0.6 s", "12 s", "14 min 20 s", "16 h 23 min"."""
    if seconds is None or not math.isfinite(seconds):
        return NOT_MEASURED
    if seconds < 0.095:
        return f"{seconds:.2f} s"
    if seconds < 9.95:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 120:
        return f"{whole} s"
    if whole < 7200:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{round(whole / 60) // 60} h {round(whole / 60) % 60:02d} min"


def interval(value: float | None, low: float | None, high: float | None, unit: str) -> str:
    """An estimate with its 95 % interval, rounded to what the interval can carry."""
    return _estimate(value, low, high, unit, f" {unit}")


def bare_interval(value: float | None, low: float | None, high: float | None, unit: str) -> str:
    """As :func:`interval`, for a column that names the unit."""
    return _estimate(value, low, high, unit, "")


def _estimate(
    value: float | None, low: float | None, high: float | None, unit: str, shown: str
) -> str:
    if value is None or not math.isfinite(value):
        return NOT_MEASURED
    if low is None or high is None:
        return f"{number(value, usual_step(unit))}{shown}"
    step = 0.1 if high - low < 2 and unit == "mOhm" else usual_step(unit)
    return f"{number(value, step)}{shown} ({number(low, step)} to {number(high, step)})"


def percent(share: float | None) -> str:
    """A share of 0 to 1 as whole percent."""
    if share is None or not math.isfinite(share):
        return NOT_MEASURED
    return f"{100 * share:.0f} %"


def sentence(text: str) -> str:
    """Text from a record as a sentence: first letter large, a full stop at the end."""
    text = plain(text).strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?:" else ".")


def date_words(start: str | None) -> str:
    """A date, and time where there is one, in words: "14 May 2026, 10:32"; "" for none."""
    if start is None:
        return ""
    try:
        when = datetime.fromisoformat(start)
    except ValueError:
        return plain(start)
    words = f"{when.day} {_MONTHS[when.month - 1]} {when.year}"
    if len(start) > 10:
        words += f", {when:%H:%M}"
        words += "" if when.tzinfo is None else f" (UTC{when:%z})"
    return words


def answer_words(answer: Answer) -> str:
    """How an aircraft stands: "ground, since flight 5, as of flight 13, 25 April 2026"."""
    parts = [LEVEL_STATE[answer.level]]
    if answer.since_number is not None:
        parts.append(f"since flight {answer.since_number}")
    if answer.number is not None:
        day = date_words(None if answer.start is None else answer.start[:10])
        parts.append(f"as of flight {answer.number}{', ' if day else ''}{day}")
    return ", ".join(parts)


def earlier_words(answer: Answer) -> str:
    """What another version of the program answered, and why this one does not; "" where it did."""
    earlier = answer.earlier
    if earlier is None:
        return ""
    why = [
        f"{told} {LEVEL_STATE[f.level]}, {plain(f.place or 'whole aircraft')}: {code_words(f.code)}"
        for told, findings in (("now open:", earlier.new), ("no longer:", earlier.gone))
        for f in findings
    ]
    return (
        f"Another version ({earlier.program}) said {LEVEL_STATE[earlier.level]} of the same "
        f"flights, notes and profile; {'; '.join(why)}."
    )


def answer_told(answer: Answer) -> str:
    """How an aircraft stands, and why, in a sentence."""
    return sentence(f"{answer.aircraft}: {answer_words(answer)}: {answer.title}")


def day_words(start: str | None) -> str:
    """A day in few letters: "14 May"; "" for none."""
    try:
        when = date.fromisoformat((start or "")[:10])
    except ValueError:
        return ""
    return f"{when.day} {_MONTHS[when.month - 1][:3]}"


def code_words(code: str) -> str:
    """The code of a finding in plain words: "branch-resistance-rising" is of a lead."""
    return code.replace("-", " ").replace("branch", "lead")


def quoted(name: str) -> str:
    """A name as one word of a command: in quotation marks where it needs them."""
    if re.fullmatch(r"[\w./\\:-]+", name):
        return name
    # What a shell acts on even within quotation marks is left out: the name is somebody's file's.
    return '"' + re.sub(r'["$`!]', "?", name) + '"'


def counted(count: int, noun: str, plural: str = "") -> str:
    """A count with its noun: "1 gap", "3 gaps", "no gaps"."""
    many = plural or f"{noun}s"
    return f"no {many}" if count == 0 else f"{count} {noun if count == 1 else many}"


def limit_words(change: Change) -> str:
    """When the next limit is reached: "reached in 2 to 9 flights"; "" where nothing says so."""
    if change.too_uncertain:
        return "the trend is too uncertain to say when"
    low, high = change.flights_to_limit_low, change.flights_to_limit_high
    if low is None or high is None:
        return ""
    if low == high:
        return f"reached in {counted(high, 'flight')}"
    return f"reached in {low} to {high} flights"


def folded_words(figures: Sequence[object]) -> str:
    """What stands where figures of places without a finding are folded away."""
    return f"{counted(len(figures), 'figure')} of places where nothing was found"


def flights_counted(kinds: Iterable[str]) -> str:
    """How many recordings of each kind: "12 flights and 1 bench recording"."""
    listed = list(kinds)
    benches = listed.count("bench")
    flights = len(listed) - benches
    parts = [counted(flights, "flight")] if flights or not benches else []
    return " and ".join([*parts, counted(benches, "bench recording")] if benches else parts)


@dataclass(frozen=True, slots=True)
class NumberSteps:
    """Resolution of the columns of one review, by place and quantity."""

    known: dict[tuple[str | None, str], float]

    @classmethod
    def of(cls, review: Review) -> NumberSteps:
        """Read the resolutions from the columns as used."""
        known: dict[tuple[str | None, str], float] = {}
        for use in review.columns:
            if use.resolution is not None and use.resolution > 0:
                known.setdefault((use.place, use.quantity), use.resolution)
                # Where the place is not the column's own, the coarsest column is the honest one.
                whole = (None, use.quantity)
                known[whole] = max(known.get(whole, 0.0), use.resolution)
        return cls(known)

    def _step(self, place: str | None, quantity: Quantity) -> float:
        found = self.known.get((place, str(quantity)), self.known.get((None, str(quantity))))
        return usual_step(CANONICAL_UNIT[quantity]) if found is None else found

    def _mah_step(self, place: str | None) -> float:
        return max(1.0, self._step(place, Quantity.CONSUMED))

    def volts(self, value: float | None, place: str | None = None) -> str:
        """A voltage of a place: "4.81 V"."""
        return measure(value, "V", self._step(place, Quantity.VOLTAGE))

    def amps(self, value: float | None, place: str | None = None) -> str:
        """A current of a place: "12.4 A"."""
        return measure(value, "A", self._step(place, Quantity.CURRENT))

    def mah(self, value: float | None, place: str | None = None) -> str:
        """A charge at a place: "812 mAh"; never finer than 1 mAh."""
        return measure(value, "mAh", self._mah_step(place))

    def bare_volts(self, value: float | None, place: str | None = None) -> str:
        """As :meth:`volts`, for a column that names the unit; "-" where not measured."""
        return number(value, self._step(place, Quantity.VOLTAGE), NONE)

    def bare_amps(self, value: float | None, place: str | None = None) -> str:
        """As :meth:`amps`, for a column that names the unit; "-" where not measured."""
        return number(value, self._step(place, Quantity.CURRENT), NONE)

    def bare_mah(self, value: float | None, place: str | None = None) -> str:
        """As :meth:`mah`, for a column that names the unit; "-" where not measured."""
        return number(value, self._mah_step(place), NONE)
