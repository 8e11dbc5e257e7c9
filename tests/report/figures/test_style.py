from __future__ import annotations

import re
from pathlib import Path

import pytest

import telemetry.report
from telemetry.aircraft import Aircraft
from telemetry.report.figures import style
from telemetry.report.figures.style import looks, time_ticks

CSS = (Path(telemetry.report.__file__).parent / "writers" / "templates" / "report.css").read_text(
    "utf-8"
)


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 (W3C Recommendation 2023), formula from memory."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def variables(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z]+): (#[0-9a-f]{6})", block))


LIGHT = variables(CSS.split("@media")[0])
DARK = LIGHT | variables(CSS.split("prefers-color-scheme: dark")[1].split("* {")[0])


@pytest.mark.parametrize(
    ("colour", "white", "black"),
    [
        # The Okabe-Ito colours against white and black, computed once by the formula of WCAG 2.2.
        (style.BLACK, 21.00, 1.00),
        (style.ORANGE, 2.25, 9.32),
        (style.SKY, 2.31, 9.10),
        (style.GREEN, 3.42, 6.14),
        (style.YELLOW, 1.32, 15.88),
        (style.BLUE, 5.19, 4.05),
        (style.VERMILLION, 3.87, 5.43),
        (style.PURPLE, 3.06, 6.86),
    ],
)
def test_the_palette_is_okabe_and_itos(colour: str, white: float, black: float) -> None:
    assert contrast(colour, "#ffffff") == pytest.approx(white, abs=0.006)
    assert contrast(colour, "#000000") == pytest.approx(black, abs=0.006)


def test_the_formula_on_the_published_edge() -> None:
    # #767676 just passes 4.5:1 on white, #777777 just fails (WCAG 2.2 understanding document).
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


def test_lines_reach_three_to_one_on_white_unrounded() -> None:
    used = {look.colour for look in looks([f"pack {k}" for k in range(9)], Aircraft()).values()}
    used |= {look.colour for look in looks([f"node {k}" for k in range(9)], Aircraft()).values()}
    assert len(used) == 4
    assert all(contrast(colour, style.PAPER) >= 3.0 for colour in used)


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "band"])
def test_text_of_the_page_reaches_aa(theme: dict[str, str], ground: str) -> None:
    for text in ("ink", "muted", "link"):
        assert contrast(theme[text], theme[ground]) >= 4.5, text


@pytest.mark.parametrize("theme", [LIGHT, DARK], ids=["light", "dark"])
def test_lines_and_text_within_figures_reach_aa(theme: dict[str, str]) -> None:
    for line in ("ink", "blue", "green", "vermillion", "purple", "muted"):
        assert contrast(theme[line], theme["paper"]) >= 3.0, line
    for wash in ("sky", "wash", "mark"):
        assert contrast(theme["ink"], theme[wash]) >= 4.5, wash


def test_places_of_one_kind_differ_by_colour_or_dash() -> None:
    names = ["pack 1", "pack 2", "bus", "receiver 1", "left wing", "right wing", "tail", "node 4"]
    found = looks(names, Aircraft())
    assert len(set(found.values())) == len(names)
    assert len(set(looks([f"joint {k}" for k in range(12)], Aircraft()).values())) == 12
    assert found["left wing"].colour != found["right wing"].colour
    assert found["pack 1"].colour == found["pack 2"].colour


def test_a_place_looks_the_same_whatever_else_is_shown_in_another_order() -> None:
    names = ["bus", "left wing", "pack 1", "tail"]
    assert looks(names, Aircraft()) == looks(reversed(names), Aircraft())


@pytest.mark.parametrize(
    ("start", "end", "most", "expected"),
    [
        (0.0, 900.0, 8, (0, 120, 240, 360, 480, 600, 720, 840)),
        (510.0, 534.6, 5, (510, 515, 520, 525, 530)),
        (0.0, 1.0, 6, (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)),
        (59.0, 121.0, 3, (60, 90, 120)),
    ],
)
def test_time_ticks_are_round(
    start: float, end: float, most: int, expected: tuple[float, ...]
) -> None:
    assert time_ticks(start, end, most) == pytest.approx(expected)


def test_clock_labels() -> None:
    assert style.clock_label(522.0) == "08:42"
    assert style.clock_label(522.25, tenths=True) == "08:42.2"
    assert style.clock_label(4523.0) == "75:23"
    assert style.clock_label(-3.0) == "-00:03"
