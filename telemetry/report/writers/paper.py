"""Sheets of paper: what is put on them flows from page to page.

Lengths are points (1/72 inch), counted from the top left corner.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from matplotlib.figure import Figure, SubFigure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle
from matplotlib.text import Text
from matplotlib.transforms import Affine2D, IdentityTransform

from telemetry.report.figures import style

SIZES_PT = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
MARGIN_PT = 44.0
_HEAD_PT, _FOOT_PT = 26.0, 24.0
# Line pitch over letter size.
LEADING = 1.36
# Width of the dot before an item, of a letter's size.
_BULLET_EM = 0.59
# No ligatures: they need a second font in the file, and whoever looks for a word does not find it.
_LETTERS = ("-liga",)


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


@cache
def _font(size: float, *, bold: bool) -> FontProperties:
    return FontProperties(family="DejaVu Sans", weight=700 if bold else 400, size=size)


class _Words(Text):
    """One line of words at a place in points, drawn at once.

    The library's own text is measured twice before it is drawn, for words that turn, wrap and stand
    in the middle of things; a report of ten pages has 1,400 lines, and that was half of its time.
    """

    def __init__(
        self, x: float, y: float, text: str, *, bold: bool, size: float, color: str
    ) -> None:
        super().__init__(x, y, text, color=color, fontproperties=_font(size, bold=bold))
        self.bold, self.size = bold, size

    def get_fontfeatures(self) -> tuple[str, ...]:
        """What is asked of the font."""
        return _LETTERS

    def draw(self, renderer: Any) -> None:
        """Draw the line where it stands."""
        x, y = self.get_position()
        if self.get_horizontalalignment() == "right":
            x -= text_width(self.get_text(), self.size, bold=self.bold)
        gc = renderer.new_gc()
        gc.set_foreground(self.get_color())
        font = self.get_fontproperties()
        renderer.draw_text(gc, x, y, self.get_text(), font, 0.0, mtext=self)
        gc.restore()


def letter_by_letter(part: SubFigure) -> None:
    """Set the words of a figure without ligatures, as those about it are."""
    for words in part.findobj(Text):
        if hasattr(words, "set_fontfeatures"):  # matplotlib sets ligatures from 3.11 on
            words.set_fontfeatures(_LETTERS)


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
        self._set(self.page, text, x, top + 0.95 * size, size, bold, colour, right)

    def _set(
        self,
        page: Figure,
        text: str,
        x: float,
        base: float,
        size: float,
        bold: bool,
        colour: str,
        right: bool,
    ) -> None:
        """Words on a page, from ``x`` on or up to it, standing on ``base``."""
        words = _Words(x, self.height - base, text, bold=bold, size=size, color=colour)
        if right:
            words.set_horizontalalignment("right")
        words.set_figure(page)
        page.texts.append(words)

    def text(
        self,
        text: str,
        size: float = 9.5,
        *,
        bold: bool = False,
        colour: str = style.BLACK,
        width: float | None = None,
        bullet: bool = False,
        after: float = 4.0,
    ) -> None:
        """A paragraph that flows over pages."""
        indent = _BULLET_EM * size + 5.0 if bullet else 0.0
        wide = self.inner if width is None else width
        for k, line in enumerate(wrapped(text, wide - indent, size, bold=bold)):
            self.need(size * LEADING)
            if bullet and k == 0:
                self.dot(self.left, self.y, size)
            self.put(line, self.left + indent, self.y, size, bold=bold, colour=colour)
            self.y += size * LEADING
        self.y += after

    def dot(self, x: float, top: float, size: float) -> None:
        """The dot before an item of a list, as large as the letter, which would need a font."""
        middle = (x + 0.5 * _BULLET_EM * size, self.height - top - 0.58 * size)
        self.page.add_artist(
            Circle(
                middle,
                0.145 * size,
                facecolor=style.BLACK,
                edgecolor="none",
                transform=IdentityTransform(),
            )
        )

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
            for text, x in (
                (footer, self.left),
                (f"page {number} of {len(self.pages)}", self.width - MARGIN_PT),
            ):
                base = self.height - MARGIN_PT + 4
                self._set(page, text, x, base, 8.0, False, style.MUTED, x > self.left)
