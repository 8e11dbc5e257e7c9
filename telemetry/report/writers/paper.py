"""Sheets of paper: what is put on them flows from page to page.

Lengths are points (1/72 inch), counted from the top left corner.
"""

from __future__ import annotations

from functools import cache

from matplotlib.figure import Figure, SubFigure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.transforms import Affine2D

from telemetry.report.figures import style

SIZES_PT = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
MARGIN_PT = 44.0
_HEAD_PT, _FOOT_PT = 26.0, 24.0
# Line pitch over letter size.
LEADING = 1.36


@cache
def _advance(letter: str, *, bold: bool) -> float:
    """Width of a letter of 1 pt size, pt."""
    font = get_font(findfont(FontProperties(family="DejaVu Sans", weight=700 if bold else 400)))
    font.set_size(100.0, 72.0)
    return float(font.load_char(ord(letter)).linearHoriAdvance) / 65536 / 100


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a line of text, pt."""
    return size * sum(_advance(c, bold=bold) for c in text)


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Lines of at most ``width`` points; a word that is too long by itself is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if text_width(longer, size, bold=bold) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        while len(word) > 1 and text_width(word, size, bold=bold) > width:
            fit = len(word) - 1
            while fit > 1 and text_width(word[:fit], size, bold=bold) > width:
                fit -= 1
            lines.append(word[:fit])
            word = word[fit:]
        line = word
    if line:
        lines.append(line)
    return lines or [""]


class Sheets:
    """Pages filled from top to bottom.

    Attributes
    ----------
    pages : list of Figure
    y : float
        Where the next thing goes on the last page.
    """

    def __init__(self, paper: str, heading: str) -> None:
        """Begin with one empty page; ``heading`` stands on top of each."""
        self.width, self.height = SIZES_PT[paper]
        self.heading = heading
        self.pages: list[Figure] = []
        self.y = 0.0
        self.new_page()

    @property
    def left(self) -> float:
        """Left edge of the text."""
        return MARGIN_PT

    @property
    def inner(self) -> float:
        """Width of the text."""
        return self.width - 2 * MARGIN_PT

    @property
    def room(self) -> float:
        """Height left on this page."""
        return self.height - MARGIN_PT - _FOOT_PT - self.y

    @property
    def page(self) -> Figure:
        """The page being filled."""
        return self.pages[-1]

    def new_page(self) -> None:
        """Go on at the top of a new page."""
        self.pages.append(style.new_figure(self.width, self.height))
        self.y = MARGIN_PT
        head = wrapped(self.heading, self.inner, 8.5)[0]
        self.put(head, self.left, self.y, 8.5, colour=style.MUTED)
        self.y += 13.0
        self.rule(self.y, style.MUTED)
        self.y = MARGIN_PT + _HEAD_PT

    def need(self, height: float) -> None:
        """Begin a new page where less than this is left, unless the page is empty."""
        if self.room < height and self.y > MARGIN_PT + _HEAD_PT + 1:
            self.new_page()

    def put(
        self,
        text: str,
        x: float,
        top: float,
        size: float,
        *,
        bold: bool = False,
        colour: str = style.BLACK,
        right: bool = False,
    ) -> None:
        """One line of text, its top at ``top``."""
        self.page.text(
            x / self.width,
            1 - (top + 0.95 * size) / self.height,
            text,
            fontsize=size,
            fontweight="bold" if bold else "normal",
            color=colour,
            ha="right" if right else "left",
            va="baseline",
        )

    def text(
        self,
        text: str,
        size: float = 9.5,
        *,
        bold: bool = False,
        colour: str = style.BLACK,
        width: float | None = None,
        bullet: str = "",
        after: float = 4.0,
    ) -> None:
        """A paragraph that flows over pages."""
        indent = text_width(bullet, size) + 5.0 if bullet else 0.0
        wide = self.inner if width is None else width
        for k, line in enumerate(wrapped(text, wide - indent, size, bold=bold)):
            self.need(size * LEADING)
            if bullet and k == 0:
                self.put(bullet, self.left, self.y, size)
            self.put(line, self.left + indent, self.y, size, bold=bold, colour=colour)
            self.y += size * LEADING
        self.y += after

    def rule(self, y: float, colour: str, width: float = 0.6) -> None:
        """A line across the text."""
        ends = [self.left / self.width, 1 - MARGIN_PT / self.width]
        at = 1 - y / self.height
        self.page.add_artist(
            Line2D(ends, [at, at], color=colour, linewidth=width, transform=self.page.transFigure)
        )

    def box(self, x: float, top: float, width: float, height: float, colour: str) -> None:
        """A filled rectangle behind what follows."""
        self.page.add_artist(
            Rectangle(
                (x / self.width, 1 - (top + height) / self.height),
                width / self.width,
                height / self.height,
                transform=self.page.transFigure,
                facecolor=colour,
                edgecolor="none",
                zorder=-1,
            )
        )

    def polygon(self, points: list[tuple[float, float]], fill: str, *, closed: bool = True) -> None:
        """A shape with a dark outline; open ones are strokes only."""
        to_page = Affine2D().scale(1 / self.width, -1 / self.height).translate(0, 1)
        self.page.add_artist(
            Polygon(
                points,
                closed=closed,
                facecolor=fill if closed else "none",
                edgecolor=style.BLACK,
                linewidth=1.4,
                transform=to_page + self.page.transFigure,
            )
        )

    def part(self, x: float, top: float, width: float, height: float) -> SubFigure:
        """A part of the page to draw a figure into."""
        grid = self.page.add_gridspec(
            3,
            3,
            width_ratios=[x, width, self.width - x - width],
            height_ratios=[top, height, self.height - top - height],
            wspace=0,
            hspace=0,
        )
        part = self.page.add_subfigure(grid[1, 1])
        part.set_facecolor("none")
        return part

    def number_pages(self, footer: str) -> None:
        """Put the footer and "page n of N" at the foot of every page."""
        for number, page in enumerate(self.pages, 1):
            at = 1 - (self.height - MARGIN_PT + 4) / self.height
            page.text(self.left / self.width, at, footer, fontsize=8, color=style.MUTED)
            page.text(
                1 - MARGIN_PT / self.width,
                at,
                f"page {number} of {len(self.pages)}",
                fontsize=8,
                color=style.MUTED,
                ha="right",
            )
