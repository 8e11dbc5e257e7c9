"""What a report consists of: plain frozen records, without any idea of HTML, paper or screen.

All text is plain text. Writers escape it, wrap it and lay it out.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from telemetry.results import Level


@dataclass(frozen=True, slots=True, kw_only=True)
class Paragraph:
    """Some sentences."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bullets:
    """A list of sentences; ``left_out`` is how many things it says are left out."""

    items: tuple[str, ...]
    left_out: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class TableColumn:
    """A column of a table.

    ``brief`` columns are shown on narrow output too; numbers are set flush right. ``note`` says
    what the column is, under the table, wherever the column is shown.
    """

    title: str
    right: bool = False
    brief: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell.

    ``span`` (s, s) is a stretch of the recording that the cell points to, ``href`` a page beside
    this one.
    """

    text: str
    span: tuple[float, float] | None = None
    href: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table; ``note`` stands under it. One that is not ``brief`` is left out on the screen."""

    caption: str
    columns: tuple[TableColumn, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    brief: bool = True

    @property
    def notes(self) -> str:
        """What stands under the table where all of its columns are shown."""
        return self.notes_of(range(len(self.columns)))

    def notes_of(self, shown: Iterable[int]) -> str:
        """The same where only some columns are shown, by their index."""
        told = [self.columns[k].note for k in shown]
        return " ".join(words for words in (*told, self.note) if words)


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureBlock:
    """A figure by the name of the function that draws it, with what it needs to know.

    Attributes
    ----------
    name : str
        As in :mod:`telemetry.report.draw`.
    flight : int
        Which flight of the review, from 0.
    place : str or None
    span : (float, float) or None
        Stretch of the recording shown, s.
    mark : (float, float) or None
        Stretch set off within it, s.
    item : int
        Which stir, resistance, trend ... of the flight or the history, from 0.
    caption : str
    alt : str
        What the figure shows, for those who cannot see it.
    text : str
        What stands in its place on a screen of plain characters; "" for nothing.
    quiet : bool
        Of a place where nothing was found: pages fold such figures away, paper leaves them out.
    """

    name: str
    caption: str
    alt: str
    flight: int = 0
    place: str | None = None
    span: tuple[float, float] | None = None
    mark: tuple[float, float] | None = None
    item: int = 0
    text: str = ""
    quiet: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar: its ``share`` of the longest (0 to 1; None where not measured), value in words."""

    label: str
    share: float | None
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """Bars to compare places with; drawn from plain characters where there is no figure."""

    caption: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingBlock:
    """One finding with its proof.

    ``explanations`` are its causes under ``causes_head``; ``beneath`` is what follows from it;
    ``links`` are words and the pages beside this one they open. ``place`` is where, by itself.
    """

    level: Level
    title: str
    where: str
    facts: tuple[tuple[str, str], ...]
    explanations: tuple[str, ...]
    confirm: str
    advice: str
    code: str
    span: tuple[float, float] | None = None
    figure: FigureBlock | None = None
    links: tuple[tuple[str, str], ...] = ()
    causes_head: str = "Possible causes"
    beneath: tuple[str, ...] = ()
    place: str = ""


Block = Paragraph | Bullets | Table | FigureBlock | Bars | FindingBlock


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of the report. ``anchor`` names it within the document."""

    title: str
    anchor: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyNumber:
    """One of the numbers that matter: what it is, the value with unit, where and when.

    ``line`` is the command that would make one known which was not measured; "" for none.
    """

    label: str
    value: str
    detail: str
    measured: bool
    line: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstPage:
    """The answer at one look; ``timeline`` is the one figure that shows it all.

    ``level``, ``word`` and ``reason`` are of the aircraft where it is known; ``answer`` is one line
    that says so, and where this log alone says something else.
    """

    aircraft: str
    flight: str
    level: Level
    word: str
    reason: str
    numbers: tuple[KeyNumber, ...]
    checks: tuple[str, ...]
    timeline: FigureBlock | None
    answer: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A whole report; ``next_step`` is the next useful command and what it is for."""

    title: str
    file: str
    first: FirstPage
    sections: tuple[Section, ...]
    footer: str
    next_step: tuple[str, str]
