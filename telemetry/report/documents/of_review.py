"""A review becomes a document: which parts there are, and in which order."""

from __future__ import annotations

from dataclasses import replace

from telemetry.model.channels import Quantity
from telemetry.model.text import plain
from telemetry.model.version import made_by
from telemetry.report.asks import profile_name
from telemetry.report.document import Block, Document, FigureBlock, FindingBlock, Paragraph, Section
from telemetry.report.parts.before_next import next_flight_section
from telemetry.report.parts.beside import beside_section
from telemetry.report.parts.checked import checked_section
from telemetry.report.parts.first_page import first_page
from telemetry.report.parts.measures import (
    charge_section,
    events_section,
    resistances_section,
    servos_section,
)
from telemetry.report.parts.method import (
    cautions_section,
    limits_section,
    method_section,
    quality_section,
)
from telemetry.report.parts.sections import findings_section, places_section, stirs_section
from telemetry.report.words import counted, quoted
from telemetry.results import Review

_MOST_FIGURES = 16


def document_of(review: Review, profile: str | None = None) -> Document:
    """The whole report of one log, as plain records.

    Parameters
    ----------
    review : Review
    profile : str, optional
        How the aircraft was named, by the book's name or a profile's file, for the commands that
        the report says; without it, by the name in the profile.

    Returns
    -------
    Document
        First page, findings, next flight, what was checked, places, stirs, events, resistances,
        charge, servos, data quality, limits, method, cautions. Parts that have nothing to tell say
        so in a sentence; stirs and servos are left out.
    """
    profile = profile_name(review, profile)
    first = first_page(review, profile)
    findings = findings_section(review)
    file = plain(review.log.provenance.file)
    parts = (
        findings,
        next_flight_section(review, profile),
        checked_section(review.checks),
        beside_section(review),
        places_section(review),
        stirs_section(review),
        events_section(review),
        resistances_section(review),
        charge_section(review),
        servos_section(review),
        quality_section(review),
        limits_section(review.aircraft, review.limits),
        method_section(review),
        cautions_section(),
    )
    return Document(
        title=f"{first.aircraft}: {file}",
        file=file,
        first=first,
        sections=_once(tuple(p for p in parts if p is not None)),
        footer=f"{made_by()}. Advice from a log; no proof of airworthiness.",
        next_step=_next_step(review, file),
    )


def _next_step(review: Review, file: str) -> tuple[str, str]:
    # Columns that are blank, or were left out on purpose, have no values in the log.
    unread = [
        c
        for c in review.columns
        if c.quantity == Quantity.UNKNOWN.value and c.key in review.log.frame.columns
    ]
    if unread:
        why = f"{counted(len(unread), 'column')} not understood. See how each was read:"
        return why, f"busbook columns {quoted(file)}"
    return (
        "The same with figures, to show or to print:",
        f"busbook review {quoted(file)} --out reports",
    )


def _once(sections: tuple[Section, ...]) -> tuple[Section, ...]:
    """Each figure once, and not more of them in a section than anybody would look at."""
    seen: set[tuple[object, ...]] = set()
    return tuple(replace(s, blocks=tuple(_with_few_figures(s.blocks, seen))) for s in sections)


def _with_few_figures(blocks: tuple[Block, ...], seen: set[tuple[object, ...]]) -> list[Block]:
    kept: list[Block] = []
    count = left_out = 0
    for block in blocks:
        figure = block.figure if isinstance(block, FindingBlock) else block
        if isinstance(figure, FigureBlock):
            mark = (figure.name, figure.flight, figure.item, figure.place, figure.span)
            again = mark in seen and figure is block
            if again or count >= _MOST_FIGURES:
                left_out += not again
                if isinstance(block, FindingBlock):
                    kept.append(replace(block, figure=None))
                continue
            seen.add(mark)
            count += 1
        kept.append(block)
    if left_out:
        kept.append(Paragraph(text=f"{counted(left_out, 'more figure')} left out."))
    return kept
