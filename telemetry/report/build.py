"""A review becomes a document: which parts there are, and in which order."""

from __future__ import annotations

from dataclasses import replace

from telemetry.figures.names import plain
from telemetry.readings import Readings
from telemetry.report.document import Block, Document, FigureBlock, FindingBlock, Section
from telemetry.report.first_page import first_page
from telemetry.report.json import made_by
from telemetry.report.measures import (
    charge_section,
    events_section,
    resistances_section,
    servos_section,
)
from telemetry.report.method import (
    cautions_section,
    limits_section,
    method_section,
    quality_section,
)
from telemetry.report.sections import findings_section, places_section, stirs_section
from telemetry.results import Review


def document_of(review: Review, readings: Readings) -> Document:
    """The whole report of one log, as plain records.

    Parameters
    ----------
    review : Review
    readings : Readings
        Of the review's log.

    Returns
    -------
    Document
        First page, findings, places, stirs, events, resistances, charge, servos, data quality,
        limits, method, cautions. Parts that have nothing to tell say so in a sentence; stirs and
        servos are left out.
    """
    first = first_page(review, readings)
    findings = findings_section(review)
    file = plain(review.log.provenance.file)
    parts = (
        findings,
        places_section(review, readings),
        stirs_section(review),
        events_section(review),
        resistances_section(review),
        charge_section(review),
        servos_section(review),
        quality_section(review),
        limits_section(review),
        method_section(review),
        cautions_section(),
    )
    return Document(
        title=f"{first.aircraft}: {file}",
        file=file,
        first=first,
        sections=_once(tuple(p for p in parts if p is not None)),
        footer=f"{made_by()}. Advice from a log; no proof of airworthiness.",
    )


def _once(sections: tuple[Section, ...]) -> tuple[Section, ...]:
    """Leave out figures that already stand beside a finding or further up."""
    seen: set[tuple[object, ...]] = set()
    kept = []
    for section in sections:
        blocks: list[Block] = []
        for block in section.blocks:
            figure = block.figure if isinstance(block, FindingBlock) else block
            if isinstance(figure, FigureBlock):
                mark = (figure.name, figure.flight, figure.item, figure.place, figure.span)
                if mark in seen and figure is block:
                    continue
                seen.add(mark)
            blocks.append(block)
        kept.append(replace(section, blocks=tuple(blocks)))
    return tuple(kept)
