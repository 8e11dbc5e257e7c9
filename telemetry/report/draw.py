"""From a figure block of a document to a drawn figure."""

from __future__ import annotations

import gc
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import RLock
from typing import Any, Protocol

import matplotlib as mpl

from telemetry.aircraft import Aircraft
from telemetry.model.channels import PlaceKind, Quantity
from telemetry.report.document import FigureBlock
from telemetry.report.figures import closeup, comparison, path, style, timeline
from telemetry.report.figures.pairs import pairs_of
from telemetry.report.figures.style import AnyFigure, Look
from telemetry.report.parts.path import PathPicture, picture_of
from telemetry.results import Review, StirPlace

# Nothing of the user's own matplotlib settings enters a report, and no lowest point is simplified
# away; text stays text; ids come from the content alone, so that a rerun gives the same bytes.
_SETTINGS: Any = {
    "path.simplify": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "busbook",
    "pdf.fonttype": 42,
    "hatch.linewidth": 0.6,
    "axes.unicode_minus": False,
    "font.family": ["DejaVu Sans"],
    "text.parse_math": False,
    "text.hinting": "no_hinting",
}
_DRAWING = RLock()


class Drawer(Protocol):
    """Draws the figures of one report."""

    def draw(self, fig: AnyFigure, block: FigureBlock) -> bool:
        """Draw a block into a figure; False where the data does not hold what it needs."""
        ...

    def height(self, block: FigureBlock) -> float:
        """Height of a figure in points that suits its content."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What all figures of one review share: a :class:`Drawer`."""

    review: Review
    looks: Mapping[str, Look] = field(default_factory=dict)

    @classmethod
    def of(cls, review: Review) -> Scene:
        """Looks for every place that has a voltage, a current or a charge."""
        places = [
            r.place
            for q in (Quantity.VOLTAGE, Quantity.CURRENT, Quantity.CONSUMED)
            for r in review.readings.of(q)
        ]
        places += [c.place for f in review.flights for c in f.charge]
        places += [p.place for f in review.flights for s in f.stirs for p in s.places]
        places += [r.place for f in review.flights for r in f.resistances]
        return cls(review=review, looks=style.looks(places, review.aircraft))

    def height(self, block: FigureBlock) -> float:
        """Height of a figure in points that suits its content."""
        flight = self.review.flights[block.flight] if self.review.flights else None
        if block.name == "nodes" and flight is not None:
            places = compared_places(flight.stirs[block.item].places, self.review.aircraft)
            return 60.0 + 26.0 * len(places)
        if block.name == "charge" and flight is not None:
            return 60.0 + 30.0 * len(flight.charge)
        if block.name == "path":
            return path.height_pt(self.review.aircraft)
        return {"timeline": 430.0, "scatter": 250.0}.get(block.name, 280.0)

    def draw(self, fig: AnyFigure, block: FigureBlock) -> bool:
        """Draw a block into a figure; False where the log does not hold what it needs."""
        review, readings, looks = self.review, self.review.readings, self.looks
        if block.name == "zoom" and block.span is not None:
            closeup.zoom(
                fig, review, readings, looks, place=block.place, span=block.span, mark=block.mark
            )
        elif block.name == "packs" and block.span is not None:
            closeup.packs(fig, review, readings, looks, span=block.span, mark=block.mark)
        elif block.name == "stir":
            stir = review.flights[block.flight].stirs[block.item]
            closeup.stir(fig, review, readings, looks, stir=stir)
        elif block.name == "timeline":
            timeline.compose(fig, review, readings, looks)
        elif block.name == "path":
            return draw_picture(fig, picture_of(review, block.flight))
        else:
            return _comparison(fig, block, self)
        return bool(fig.axes)


@dataclass(frozen=True, slots=True)
class PathScene:
    """Draws the one figure of a budget, its power path: a :class:`Drawer`."""

    picture: PathPicture

    def height(self, block: FigureBlock) -> float:  # noqa: ARG002 - the protocol's signature
        """Height of a figure in points that suits its content."""
        return path.height_pt(self.picture.aircraft)

    def draw(self, fig: AnyFigure, block: FigureBlock) -> bool:  # noqa: ARG002
        """Draw a block into a figure; False where there is no path."""
        return draw_picture(fig, self.picture)


@contextmanager
def settings(scale: float = 1.0) -> Iterator[None]:
    """The drawing settings of a report, for as long as figures are drawn and saved.

    Parameters
    ----------
    scale : float
        Size of text, lines and marks against those on the screen.
    """
    # All are of the whole process; a worker of a cluster may have several threads.
    with _DRAWING, mpl.rc_context(), warnings.catch_warnings(), _uncollected():
        # A name in letters that the font lacks is drawn as boxes; that is no news for the user.
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS | {"font.size": 10.0 * scale})
        yield


@contextmanager
def _uncollected() -> Iterator[None]:
    """Without looks for garbage: a figure is thousands of parts that refer to one another.

    While it grows they would be gone through dozens of times, a twelfth of all the time.
    """
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


def compared_places(places: tuple[StirPlace, ...], aircraft: Aircraft) -> tuple[StirPlace, ...]:
    """The nodes of a stir, to compare with one another; all places where there are under two."""
    measured = tuple(p for p in places if p.mean_a is not None)
    nodes = tuple(p for p in measured if aircraft.kind(p.place) is PlaceKind.NODE)
    return nodes if len(nodes) > 1 else measured


def draw_picture(fig: AnyFigure, picture: PathPicture) -> bool:
    """Draw a power path over the whole figure; False where there is none."""
    if not picture.numbers:
        return False
    ax = style.axes_at(fig, 0, 0, *style.size_pt(fig))
    path.draw_path(
        ax, picture.aircraft, picture.headings, picture.numbers, picture.amps, picture.levels
    )
    return True


def _comparison(fig: AnyFigure, block: FigureBlock, scene: Scene) -> bool:
    flight = scene.review.flights[block.flight]
    width, height = style.size_pt(fig)
    if block.name == "scatter":
        resistance = flight.resistances[block.item]
        pairs = pairs_of(scene.review.readings, scene.review.aircraft, flight, resistance)
        if pairs is None:
            return False
        ax = style.axes_at(fig, 62, 44, width - 74, height - 86)
        look = scene.looks[resistance.place]
        comparison.draw_voltage_against_current(ax, pairs, resistance, look)
    elif block.name == "nodes":
        places = compared_places(flight.stirs[block.item].places, scene.review.aircraft)
        if not places:
            return False
        ax = style.axes_at(fig, 88, 6, width - 100, height - 48)
        comparison.draw_places(ax, places, scene.looks)
    else:
        ax = style.axes_at(fig, 88, 6, width - 100, height - 48)
        comparison.draw_charge(ax, flight.charge, scene.looks)
    return True
