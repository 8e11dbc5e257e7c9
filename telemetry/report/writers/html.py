"""The report as one HTML file: nothing is fetched, everything from the data is escaped."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from telemetry.model.channels import Quantity
from telemetry.model.text import plain
from telemetry.model.version import made_by
from telemetry.report.document import Document, FigureBlock, FindingBlock
from telemetry.report.documents.index import (
    IndexEntry,
    answers,
    levels_counted,
    worst_first,
)
from telemetry.report.draw import Drawer, Scene, settings
from telemetry.report.figures import style, timeline
from telemetry.report.figures.traces import levels, longest_gaps, of_quantity, path_order
from telemetry.report.parts.method import CAUTIONS
from telemetry.report.words import (
    EVENT_WORD,
    LEVEL_WORD,
    PHASE_WORD,
    TO_KNOW,
    answer_told,
    clock,
    folded_words,
)
from telemetry.report.writers import svg
from telemetry.report.writers.around import Around
from telemetry.report.writers.packing import dashes, packed
from telemetry.report.writers.templates import policy, template, template_text, timeline_script
from telemetry.results import EventKind, Origin, PhaseKind, Review

_SMALL_PT = 360.0
# The first screen of a small laptop shows the whole of it, a phone's most.
_WIDE = (1080.0, 340.0)
_NARROW = (350.0, 340.0)
_PHASE_FILL = {
    PhaseKind.FLIGHT: "sky",
    PhaseKind.STIR: "orange",
    PhaseKind.REDUNDANCY_CHECK: "paper",
    PhaseKind.GROUND: "wash",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """The timeline of a review: two pictures of it, the names of its lines, and its data."""

    wide: Markup
    narrow: Markup
    places: tuple[dict[str, str], ...]
    caption: str
    data: Markup


def render(document: Document, scene: Scene, around: Around | None = None) -> str:
    """The report of one log as a self-contained HTML page.

    Parameters
    ----------
    document : Document
        Of the scene's review.
    scene : Scene
    around : Around, optional
        As for :func:`page`.

    Returns
    -------
    str
        The same review gives the same text, byte for byte.
    """
    with settings():
        line = None if document.first.timeline is None else _timeline(document, scene)
    return page(document, scene, line, around=around)


def page(
    document: Document,
    drawer: Drawer,
    timeline: Timeline | None = None,
    *,
    around: Around | None = None,
) -> str:
    """A document as a self-contained HTML page.

    Parameters
    ----------
    document : Document
    drawer : Drawer
    timeline : Timeline, optional
        The figure of the first page with its data to read off; without it that figure is drawn
        like the others.
    around : Around, optional
        What a server has around it, which sends the policy along; a saved page carries its own.
    """
    first = document.first.timeline
    with settings():
        figures = _figures(document, drawer)
        overview = () if timeline or first is None else _overview(first, drawer)
    return template("report.html.j2").render(
        doc=document,
        around=around,
        figures=figures,
        policy=None if around else policy(),
        timeline=timeline,
        overview=overview,
        level_word=LEVEL_WORD,
        to_know=TO_KNOW,
        folded_words=folded_words,
        css=Markup(template_text("report.css")),
        page_css=Markup(template_text("page/page.css")),
        script=Markup(timeline_script()),
    )


def render_index(entries: Sequence[IndexEntry], errors: Sequence[str] = ()) -> str:
    """A page that leads to the reports of several logs, the worst first.

    Parameters
    ----------
    entries : sequence of IndexEntry
    errors : sequence of str
        What is to be said of the logs that could not be reviewed.
    """
    return template("index.html.j2").render(
        policy=policy(),
        around=None,
        title=levels_counted(entries),
        answers=[(a.level, answer_told(a)) for a in answers(entries)],
        entries=[
            replace(e, link=None if e.link is None else quote(e.link)) for e in worst_first(entries)
        ],
        errors=[plain(message) for message in errors],
        cautions=CAUTIONS,
        footer=f"{made_by()}. Advice from logs; no proof of airworthiness.",
        css=Markup(template_text("report.css")),
        figures={},
        level_word=LEVEL_WORD,
    )


def _overview(block: FigureBlock, drawer: Drawer) -> tuple[Markup, ...]:
    """The figure of the first page over its width, and for a narrow screen."""
    pictures = []
    for name, (width, _) in (("wide", _WIDE), ("narrow", _NARROW)):
        fig = style.new_figure(width, drawer.height(block))
        if drawer.draw(fig, block):
            pictures.append(Markup(svg.inline_svg(fig, name, block.alt)))
    return tuple(pictures)


def _figures(document: Document, drawer: Drawer) -> dict[FigureBlock, Markup]:
    """Every figure of the document but that of the first page, drawn."""
    wanted: dict[FigureBlock, None] = {}
    for section in document.sections:
        for block in section.blocks:
            found = block.figure if isinstance(block, FindingBlock) else block
            if isinstance(found, FigureBlock):
                wanted.setdefault(found)
    drawn = {}
    for k, block in enumerate(wanted):
        fig = style.new_figure(_SMALL_PT, drawer.height(block))
        if drawer.draw(fig, block):
            drawn[block] = Markup(svg.inline_svg(fig, f"f{k}", block.alt))
    return drawn


def _timeline(document: Document, scene: Scene) -> Timeline:
    alt = document.first.timeline.alt if document.first.timeline is not None else ""
    readings = scene.review.readings
    pictures, layouts = {}, {}
    for name, (width, height) in (("wide", _WIDE), ("narrow", _NARROW)):
        fig = style.new_figure(width, height)
        layouts[name] = timeline.compose(fig, scene.review, readings, scene.looks, legend=False)
        pictures[name] = Markup(svg.inline_svg(fig, name, alt))
    traces = [
        (q, r)
        for q in (Quantity.VOLTAGE, Quantity.CURRENT)
        for r in of_quantity(readings, q, scene.review.aircraft)
    ]
    places = path_order((r.place for _, r in traces), scene.review.aircraft)
    data = {
        "start": readings.start_s,
        "end": readings.end_s,
        "layouts": {name: asdict(layout) for name, layout in layouts.items()},
        "levels": [[volts, words] for volts, words in levels(scene.review.limits)],
        "gaps": [[g.start_s, g.end_s] for g in longest_gaps(scene.review.quality.gaps)],
        **packed(traces, places, scene.looks, scene.review.limits),
        "phases": [
            [p.start_s, p.end_s, PHASE_WORD[p.kind], _PHASE_FILL[p.kind]]
            for f in scene.review.flights
            for p in f.phases
        ],
        "events": [
            [
                e.start_s,
                e.end_s,
                f"{EVENT_WORD[e.kind]}, {plain(e.place)}",
                e.kind is EventKind.SAG and e.origin is Origin.LOAD,
            ]
            for f in scene.review.flights
            for e in f.events
        ],
        "marks": [[m.time_s, plain(m.text)] for m in scene.review.marks],
    }
    return Timeline(
        wide=pictures["wide"],
        narrow=pictures["narrow"],
        places=tuple(
            {
                "name": plain(p),
                "variable": svg.VARIABLES[scene.looks[p].colour],
                "dash": dashes(scene.looks[p]),
            }
            for p in places
        ),
        caption="Lines run through the lowest voltages and the highest currents of each moment, "
        "the wash behind them through the rest. Events: triangle down sag, up current spike, "
        "square level shift, diamond undervoltage, cross brownout; a short stroke is a sag that "
        f"the load explains. {_holes(scene.review)} {_marked(scene.review)}".strip(),
        data=_json(data),
    )


def _holes(review: Review) -> str:
    if not review.quality.gaps:
        return ""
    return (
        "Hatched: no rows, from "
        + ", ".join(clock(g.start_s) for g in review.quality.gaps[:5])
        + "."
    )


def _marked(review: Review) -> str:
    if not review.marks:
        return ""
    told = (f"M{k} {plain(m.text)}" for k, m in enumerate(review.marks[:5], 1))
    more = " and more under Events" if len(review.marks) > 5 else ""
    return f"Upright lines, marked: {'; '.join(told)}{more}."


def _json(data: dict[str, Any]) -> Markup:
    """JSON that can stand in a script element: nothing in it can end the element."""
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    for sign in "<>&":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)
