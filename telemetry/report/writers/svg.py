"""A figure as an SVG element that can stand within a page and follow its colours.

Text stays text; colours become variables of the page, with the printed colour as what holds
without them; coordinates are cut to a hundredth of a point; ids are made unique within the page.
"""

from __future__ import annotations

import re
from html import escape
from io import StringIO

from matplotlib.figure import Figure

from telemetry.report.figures import style

# Colour of a figure -> variable of the page.
VARIABLES: dict[str, str] = {
    style.BLACK: "ink",
    style.BLUE: "blue",
    style.GREEN: "green",
    style.VERMILLION: "vermillion",
    style.PURPLE: "purple",
    style.ORANGE: "orange",
    style.SKY: "sky",
    style.PAPER: "paper",
    style.MUTED: "muted",
    style.GUIDE: "guide",
    style.WASH: "wash",
    style.MARK: "mark",
}
_PARTS = re.compile(
    r"x-axis|mark|readings|means|outside|legend"
    r"|(?:trace|dots|phase|event|gap|lowest|mean|rest|peak|added|counter|line|marked)-[-\w]+"
)
_MANY_POINTS = 40
# The page has this rule once; within the figure it would hold for the whole page.
_STYLE = re.compile(r"<defs>\s*<style type=\"text/css\">[^<]*</style>\s*</defs>")


def inline_svg(fig: Figure, name: str, alt: str) -> str:
    """The figure as one ``<svg>`` element.

    Parameters
    ----------
    fig : Figure
    name : str
        Put before every id, so that no two figures of a page share one.
    alt : str
        Read out instead of the picture.
    """
    out = StringIO()
    metadata = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    fig.savefig(out, format="svg", facecolor="none", metadata=metadata)
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<!--.*?-->\n?", "", text, flags=re.DOTALL)
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(
        r"<svg[^>]*viewBox=\"([^\"]*)\"[^>]*>",
        lambda m: f'<svg viewBox="{m[1]}" role="img" aria-label="{escape(alt)}">',
        text,
        count=1,
        flags=re.DOTALL,
    )
    text = _STYLE.sub("", text)
    text = _ids(text, name)
    text = _colours(text)
    text = re.sub(r"font: ([\d.]+)px [^;\"]*", r"font-size: \1px", text)
    text = re.sub(r" font-family: [^;\"]*;?", "", text)
    text = re.sub(r" transform=\"rotate\(-0 [^\"]*\"", "", text)
    text = re.sub(r"(?<=\.\d\d)\d+", "", text)
    text = re.sub(r" d=\"([^\"]*)\"", _path, text)
    text = re.sub(r">\s+<", "><", text).strip()
    text = re.sub(r"<g[^>]*>(?:<use [^>]*/>){2,}</g>", _repeated, text)
    text = _DOTS.sub(lambda match: _dots(match, text), text)
    return re.sub(r" style=\"([^\"]*)\"", _attributes, text)


def _attributes(match: re.Match[str]) -> str:
    """A style as attributes of its own: a page with a strict policy has no style attributes."""
    rules = (rule.split(":", 1) for rule in match[1].split(";") if rule.strip())
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in rules)


def _path(match: re.Match[str]) -> str:
    """The same path in fewer letters; long ones to a tenth of a point."""
    data = match[1]
    if data.count("\n") > _MANY_POINTS:
        data = re.sub(r"(?<=\.\d)\d+", "", data).replace("L ", "")
    return f' d="{" ".join(data.split())}"'


# A cloud of dots: its name, the radius, the fill, the frame, and where the dots are.
_DOTS = re.compile(
    r"(<g data-part=\"(?:readings|dots-[^\"]*)\">)"
    r"(<defs><path id=\"([^\"]*)\" d=\"M 0 ([\d.]+) [^>]*/></defs>)"
    r"<g style=\"fill: ([^;\"]*)[^\"]*\"( clip-path=\"[^\"]*\")?>((?:<use [^>]*/>)+)</g></g>"
)


def _dots(match: re.Match[str], text: str) -> str:
    """A cloud of round dots as one path of strokes without length; equal dots once."""
    head, shape, name, radius, fill, frame, marks = match.groups(default="")
    found = dict.fromkeys(re.findall(r" x=\"([^\"]*)\" y=\"([^\"]*)\"", marks))
    data = "".join(f"M{x} {y}h0" for x, y in found)
    drawn = f"fill: none; stroke: {fill}; stroke-width: {2 * float(radius):g}"
    # The legend may refer to the shape as well.
    href = f'href="#{name}"'
    kept = shape if text.count(href) > marks.count(href) else ""
    return f'{head}{kept}<path d="{data}"{frame} style="{drawn}; stroke-linecap: round"/></g>'


def _repeated(match: re.Match[str]) -> str:
    """A row of equal marks with their common style said once."""
    styles = set(re.findall(r"style=\"([^\"]*)\"", match[0]))
    if len(styles) != 1:
        return match[0]
    common = f'style="{styles.pop()}"'
    return match[0].replace(f" {common}", "").replace("<g", f"<g {common}", 1)


def _ids(text: str, name: str) -> str:
    """Keep ids that are referred to, under a name of this figure; mark parts; drop the rest."""
    wanted = set(re.findall(r"url\(#([^)]+)\)", text)) | set(
        re.findall(r"href=\"#([^\"]+)\"", text)
    )

    def one(match: re.Match[str]) -> str:
        found = match[1]
        if found in wanted:
            return f' id="{name}-{found}"'
        return f' data-part="{found}"' if _PARTS.fullmatch(found) else ""

    text = re.sub(r" id=\"([^\"]*)\"", one, text)
    text = re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)
    text = re.sub(r"href=\"#([^\"]+)\"", rf'href="#{name}-\1"', text)
    return text.replace("xlink:href", "href")


def _colours(text: str) -> str:
    def one(match: re.Match[str]) -> str:
        variable = VARIABLES.get(match[2].lower())
        return match[0] if variable is None else f"{match[1]}var(--{variable}, {match[2]})"

    text = re.sub(r"(fill)=\"(#[0-9a-fA-F]{6})\"", r'style="\1: \2"', text)
    return re.sub(r"((?:fill|stroke): )(#[0-9a-fA-F]{6})", one, text)
