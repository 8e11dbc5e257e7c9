"""What a check is: a question about one part, the functions that answer it, and its words.

To add a check, write one module with its functions and its record, and put the record into
:data:`telemetry.checks.listed.CHECKS`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from telemetry.aircraft import Limits
from telemetry.checks.aircraft_history import AircraftHistory, JudgedAcross
from telemetry.checks.draft import FindingDraft, Words
from telemetry.checks.facts import FlightFacts, RecordingFacts
from telemetry.checks.needs import Needs, Sees
from telemetry.results import CheckOutcome, Finding, Flight


class CheckPart(StrEnum):
    """The part of the aircraft that a check is about."""

    SUPPLY = "supply"
    LEADS = "leads"
    PACKS = "packs"
    SERVOS = "servos"
    SENSORS = "sensors"
    RECORDING = "recording"


InRecording = Callable[[RecordingFacts], list[FindingDraft]]
OfOutcomes = Callable[[RecordingFacts, Sequence[CheckOutcome]], list[FindingDraft]]
InFlight = Callable[[FlightFacts], list[FindingDraft]]
Across = Callable[[AircraftHistory], JudgedAcross]

#: Figures of a report: the event in the voltage and current of its place; voltage against current
#: of the place's resistance, or of the path from pack to bus; charge by place; the packs side by
#: side; current by place in the stir.
ProofFigure = Literal["zoom", "scatter", "path", "charge", "packs", "nodes"]


#: Later flights that show a fault gone (heuristic): of one that every flight shows, and of one that
#: comes and goes.
STEADY, FITFUL = 3, 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Closing:
    """What closes the findings of a check, besides a note at their place.

    Attributes
    ----------
    flights : int
        So many later flights that would have shown the fault, and did not. What one flight alone
        showed to watch is closed by the next such flight.
    note_only : function or None
        Whether only a note closes this finding of one flight: that flights went well since shows
        nothing.
    across_note_only : bool
        The same of its findings across flights that ground.
    instead : tuple of str
        Codes that tell the same change of the mirror: where later flights lay it to that, only
        flights are needed to close it here.
    lost : bool
        True of a lost pack or a lost supply: where only a note closes it, a note of kind checked
        does not.
    """

    flights: int = STEADY
    note_only: Callable[[Finding, Flight], bool] | None = None
    across_note_only: bool = False
    instead: tuple[str, ...] = ()
    lost: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One question about one part of the aircraft.

    A function that judges several checks together (the servos of all places, say) stands in each of
    them and is called once; a check that several functions can find names each of them.

    Attributes
    ----------
    code : str
        Of its findings.
    part : CheckPart
    question : str
        What is asked, in one sentence.
    meaning, bench : str
        What a finding means and how to confirm it on the bench, in the words of the guide. Checks
        with equal ones share a place there.
    words : Words or None
        Standing text of its findings in one log.
    words_across : Words or None
        The same of its findings across flights.
    in_recording : tuple of functions
        From the facts of a recording to drafts of findings.
    in_flight : tuple of functions
        From the facts of a flight to drafts of findings.
    of_outcomes : function or None
        From what the other checks of a recording came to, to drafts of findings.
    needs : Needs or None
        What it needs at a place to judge it in one log; None where only flights together tell.
    sees : function or None
        From the facts of a flight and a place where the needs are met to what it would have seen
        there at least, in words with number and unit; or to why it could not look.
    across : tuple of functions
        From the flights of an aircraft to what is judged across them, over all places.
    proof : str or None
        Name of the figure that shows it; None where no figure can.
    worst_by : str or None
        Evidence by which one flight's finding is worse than another's.
    lower_is_worse : bool
    closing : Closing
        What closes its findings.
    worst_step : float or None
        A finding that a note of kind checked accepted opens again where ``worst_by`` is worse by so
        much; without it, where it is graver.
    rise_step : function or None
        The same for the rise of its findings across flights, by the limits; without it half of what
        was accepted.
    same_matter : tuple of str
        Codes across flights that report the same fault.
    """

    code: str
    part: CheckPart
    question: str
    meaning: str
    bench: str
    words: Words | None = None
    words_across: Words | None = None
    in_recording: tuple[InRecording, ...] = ()
    in_flight: tuple[InFlight, ...] = ()
    of_outcomes: OfOutcomes | None = None
    needs: Needs | None = None
    sees: Sees | None = None
    across: tuple[Across, ...] = ()
    proof: ProofFigure | None = "zoom"
    worst_by: str | None = None
    lower_is_worse: bool = False
    closing: Closing = Closing()
    worst_step: float | None = None
    rise_step: Callable[[Limits], float] | None = None
    same_matter: tuple[str, ...] = ()
