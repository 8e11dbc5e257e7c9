"""One figure of a report by itself, for notebooks and scripts."""

from __future__ import annotations

from collections.abc import Iterator

from matplotlib.figure import Figure

from telemetry.model.errors import UnknownSetting
from telemetry.report.document import Document, FigureBlock, FindingBlock
from telemetry.report.documents.across import Across
from telemetry.report.documents.history_figures import trend_figure
from telemetry.report.documents.of_history import history_document
from telemetry.report.documents.of_review import document_of
from telemetry.report.draw import Drawer, Scene, settings
from telemetry.report.draw_history import HistoryScene
from telemetry.report.figures.style import PAPER
from telemetry.report.parts.proof import proof
from telemetry.results import Finding, History, Review

# As wide as a figure of the HTML report; fine enough to be read in a notebook and in a letter.
_WIDE_PT, _DPI = 720.0, 108.0
_OVERVIEW = {"timeline", "season"}


def draw(
    subject: Review | History,
    what: str | Finding = "",
    place: str | None = None,
    *,
    between: tuple[float, float] | None = None,
) -> Figure:
    """Draw one figure of the report of a review or a history.

    Parameters
    ----------
    subject : Review or History
    what : str or Finding
        "": the figure of the first page, which shows everything. A finding of the subject: the
        figure that proves it. Else the name of a figure; of a review timeline, zoom, stir, nodes,
        scatter (voltage against current), charge; of a history season, trend, lows (of all places),
        sides (left minus right), volts, amps, mirror (current over the mirror's), mohm, ends,
        falls, counter, use, share.
    place : str, optional
        Such as "left wing"; without it the first place that has such a figure.
    between : (float, float), optional
        For "zoom": start and end, s from the first row.

    Returns
    -------
    matplotlib.figure.Figure
        Apart from pyplot: a notebook shows it, ``savefig`` keeps it.

    Raises
    ------
    UnknownSetting
        If there is no such figure; it says which there are.
    """
    drawer, block = _found(subject, what, place, between)
    with settings():
        size = (_WIDE_PT / 72, drawer.height(block) / 72)
        fig = Figure(figsize=size, dpi=_DPI, facecolor=PAPER)
        if not drawer.draw(fig, block):
            raise UnknownSetting(f"the data does not hold what the figure '{block.name}' needs")
        # Some parts of a figure are made when it is first drawn: by these settings, not others.
        fig.draw_without_rendering()
    return fig


def _found(
    subject: Review | History,
    what: str | Finding,
    place: str | None,
    between: tuple[float, float] | None,
) -> tuple[Drawer, FigureBlock]:
    drawer: Drawer
    if isinstance(subject, Review):
        drawer, document = Scene.of(subject), document_of(subject)
        proven = proof(subject, what) if isinstance(what, Finding) else None
    else:
        across = Across.of(subject)
        drawer, document = HistoryScene.of(across), history_document(subject)
        proven = trend_figure(across, what) if isinstance(what, Finding) else None
    if isinstance(what, Finding):
        if proven is None:
            raise UnknownSetting(f"no figure can prove '{what.title}'")
        return drawer, proven
    if between is not None and isinstance(subject, Review):
        return drawer, FigureBlock(name="zoom", place=place, span=between, caption="", alt="")
    there = list(_figures(document))
    for block in there:
        named = block.name == what or (not what and block.name in _OVERVIEW)
        if named and place in (None, block.place):
            return drawer, block
    names = ", ".join(dict.fromkeys(b.name for b in there)) or "none"
    where = "" if place is None else f" of '{place}'"
    raise UnknownSetting(
        f"there is no figure '{what or 'overview'}'{where}", hint=f"figures here: {names}"
    )


def _figures(document: Document) -> Iterator[FigureBlock]:
    if document.first.timeline is not None:
        yield document.first.timeline
    for section in document.sections:
        for block in section.blocks:
            figure = block.figure if isinstance(block, FindingBlock) else block
            if isinstance(figure, FigureBlock):
                yield figure
