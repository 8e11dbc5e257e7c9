"""What the figures across flights show: values, limits, baseline, notes, findings."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from telemetry.model.channels import PlaceKind
from telemetry.report.figures import flights, style, trends
from telemetry.report.figures.flights import FlightAxis, FlightSeries
from telemetry.report.figures.season import FindingBar, draw_season
from telemetry.results import History, Level, NoteMark

LOOK = style.Look(style.BLUE, ())


def note(kind: str, before: int, place: str | None = "tail") -> NoteMark:
    return NoteMark(kind=kind, place=place, text="x", date="2026-05-01", before=before)


def axis(count: int, *notes: NoteMark, days: tuple[str, ...] | None = None) -> FlightAxis:
    return FlightAxis(days=days or ("",) * count, notes=notes)


@pytest.fixture
def ax() -> Axes:
    fig = style.new_figure(390, 260)
    return style.axes_at(fig, 52, 40, 390 - 68, 160)


def named(ax: Axes, gid: str) -> list:
    return [a for a in (*ax.lines, *ax.patches, *ax.collections, *ax.texts) if a.get_gid() == gid]


def like(ax: Axes, start: str) -> list:
    every = (*ax.lines, *ax.patches, *ax.collections, *ax.texts)
    return [a for a in every if str(a.get_gid()).startswith(start)]


def test_a_trend_shows_every_judged_flight_and_which_belong_to_the_change(
    ax: Axes, history: History
) -> None:
    trend = history.trends[0]
    assert trend.since == 5
    trends.draw_trend(ax, trend, axis(12), LOOK, (-20, 140))
    (sound,), (changed,) = named(ax, "rise-sound"), named(ax, "rise-since")
    # Flights are numbered from 1: index 5 is No. 6.
    assert list(sound.get_xdata()) == [3, 4, 5]
    assert list(changed.get_xdata()) == [6, 7, 8, 9, 10, 11, 12]
    assert [*sound.get_ydata(), *changed.get_ydata()] == list(trend.value)
    assert sound.get_marker() != changed.get_marker(), "told by shape, not by colour alone"
    assert ax.get_ylabel() == "rise (%)"


def test_a_trend_has_its_limits_where_they_are_and_named(ax: Axes, history: History) -> None:
    trends.draw_trend(ax, history.trends[0], axis(12), LOOK, (-20, 140))
    for level, value in (("watch", 25.0), ("ground", 60.0)):
        (line,) = named(ax, f"limit-{level}")
        assert set(line.get_ydata()) == {value}
        assert level in [t.get_text() for t in ax.texts]


def test_a_limit_outside_the_view_is_left_out(ax: Axes, history: History) -> None:
    trends.draw_trend(ax, history.trends[0], axis(12), LOOK, (-20, 40))
    assert named(ax, "limit-watch")
    assert not named(ax, "limit-ground")


def test_the_baseline_is_washed_from_its_first_to_its_last_flight(
    ax: Axes, history: History
) -> None:
    trends.draw_trend(ax, history.trends[0], axis(12), LOOK, (-20, 140))
    (wash,) = named(ax, "baseline")
    box = wash.get_window_extent().transformed(ax.transData.inverted())
    # Flights No. 3 to 5, each with less than half a flight beside it.
    assert 2.5 < box.x0 < 3 < 5 < box.x1 < 5.5


def test_the_evidence_stands_against_its_limit(ax: Axes, history: History) -> None:
    trend = history.trends[0]
    trends.draw_chart(ax, trend, axis(12))
    (bars,) = named(ax, "evidence")
    # Each bar is a stroke from zero to its value, and a gap.
    low, high, _ = np.asarray(bars.get_ydata(), dtype=float).reshape(-1, 3).T
    assert list(low) == [0.0] * len(trend.chart)
    assert list(high) == list(trend.chart)
    at = np.asarray(bars.get_xdata(), dtype=float).reshape(-1, 3)[:, 0]
    assert list(at) == [k + 1 for k in trend.flights]
    (limit,) = named(ax, "limit")
    assert set(limit.get_ydata()) == {trend.limit}
    assert ax.get_ylim()[1] > max(trend.chart)


def test_what_was_not_measured_is_a_hole_and_no_zero(ax: Axes) -> None:
    series = FlightSeries(
        name="idle",
        values=(8.1, None, 8.2),
        low=(8.0, None, None),
        high=(8.2, None, None),
        look=LOOK,
    )
    flights.draw_series(ax, [series], axis(3), name="voltage", unit="V")
    (line,) = named(ax, "value-0")
    assert list(line.get_xdata()) == [1, 2, 3]
    values = np.asarray(line.get_ydata(), dtype=float)
    assert values[0] == 8.1
    assert np.isnan(values[1])
    (reach,) = named(ax, "interval-0")
    assert list(reach.get_ydata())[:2] == [8.0, 8.2]
    assert len(reach.get_ydata()) == 3, "one stroke, where both ends are known"
    assert ax.get_ylabel() == "voltage (V)"
    assert ax.get_xlabel() == "flight (No.)"


def test_amounts_begin_at_zero_and_stand_side_by_side(ax: Axes) -> None:
    none = (None, None)
    packs = [
        FlightSeries(name=n, values=(200.0, v), low=none, high=none, look=LOOK)
        for n, v in (("pack 1", 210.0), ("pack 2", None))
    ]
    flights.draw_amounts(ax, packs, axis(2), name="charge used", unit="mAh")
    assert ax.get_ylim()[0] == 0
    first, second = ax.containers
    assert first[0].get_height() == 200.0
    assert first[0].get_x() + first[0].get_width() == pytest.approx(second[0].get_x())
    # The first and the second differ in more than colour.
    assert [bars[0].get_hatch() or "" for bars in (first, second)] == ["", "///"]


@pytest.mark.parametrize("count", [121, 200])
def test_amounts_of_many_flights_are_strokes_that_fill_their_place(ax: Axes, count: int) -> None:
    none = (None,) * count
    packs = [
        FlightSeries(name=n, values=(200.0,) * count, low=none, high=none, look=LOOK)
        for n in ("pack 1", "pack 2")
    ]
    flights.draw_amounts(ax, packs, axis(count), name="charge used", unit="mAh")
    assert not ax.containers
    place_px = ax.get_window_extent().width / count
    for k in range(2):
        (line,) = named(ax, f"amount-{k}")
        wide_px = line.get_linewidth() * ax.figure.dpi / 72
        assert wide_px == pytest.approx(flights.BAR / 2 * place_px)


def test_notes_stand_before_the_next_flight_and_only_some_begin_a_baseline(ax: Axes) -> None:
    flights.draw_notes(ax, axis(5, note("repaired", 3), note("changed", 5), note("charged", 1)))
    for kind, at in (("repaired", 3.5), ("changed", 5.5), ("charged", 1.5)):
        (line,) = named(ax, f"note-{kind}")
        assert set(line.get_xdata()) == {at}
        assert (line.get_linestyle() == "-") is (kind != "charged")
    assert [t.get_text() for t in ax.texts] == ["R", "C", "f"]


def test_the_axis_of_flights_numbers_them_and_names_each_day_once(ax: Axes) -> None:
    days = ("4 Apr", "4 Apr", "11 Apr", "11 Apr", "")
    flights.flight_axis(ax, axis(5, days=days))
    ax.figure.draw_without_rendering()
    shown = [t.get_text().strip() for t in ax.get_xticklabels()]
    assert shown == ["1\n4 Apr", "2", "3\n11 Apr", "4", "5"]


@pytest.mark.parametrize("count", [1, 2, 7, 13, 40, 200, 1000])
def test_numbers_of_flights_do_not_run_into_one_another(ax: Axes, count: int) -> None:
    days = tuple(f"{1 + k % 28} Apr" for k in range(count))
    flights.flight_axis(ax, axis(count, days=days))
    fig = ax.figure
    assert isinstance(fig, Figure)
    fig.draw_without_rendering()
    boxes = [t.get_window_extent() for t in ax.get_xticklabels() if t.get_text().strip()]
    assert boxes
    assert all(a.x1 < b.x0 for a, b in pairwise(boxes))
    assert boxes[-1].x1 <= fig.bbox.x1, "nothing is cut off"


def season(width: float, bars: list[FindingBar], marks: list, count: int = 12) -> Axes:
    fig = style.new_figure(width, 240)
    ax = style.axes_at(fig, 90, 16, width - 100, 174)
    return draw_season(
        ax, ["left wing", "right wing", "tail"], bars, axis(count), marks, [[1, 2, 3], [], [2]]
    )


def test_a_finding_is_a_bar_at_its_place_from_its_first_flight() -> None:
    bars = [
        FindingBar(row=1, since=4, level=Level.GROUND, text="Ground it: servo current rising"),
        FindingBar(row=0, since=9, level=Level.WATCH, text="Watch: contact intermittent"),
    ]
    ax = season(900, bars, [])
    for k, (row, colour) in enumerate([(1, style.VERMILLION), (0, style.ORANGE)]):
        (patch,) = named(ax, f"finding-{k}")
        low, high = sorted((patch.get_y(), patch.get_y() + patch.get_height()))
        assert row - 0.5 < low < high < row + 0.5
        assert bars[k].since + 0.5 < patch.get_x() < bars[k].since + 1
        assert patch.get_x() + patch.get_width() == pytest.approx(12.5)
        red, green, blue, _ = patch.get_facecolor()
        expected = tuple(int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
        assert (red, green, blue) == pytest.approx(expected, abs=0.01)
        (text,) = named(ax, f"finding-text-{k}")
        assert text.get_text() == bars[k].text, "told by a word as well"
    assert [t.get_text() for t in ax.get_yticklabels()] == ["left wing", "right wing", "tail"]


def test_two_findings_of_a_place_stand_one_below_the_other() -> None:
    bars = [FindingBar(row=0, since=k, level=Level.WATCH, text="Watch: x") for k in (3, 6)]
    ax = season(900, bars, [])
    (one,), (two,) = named(ax, "finding-0"), named(ax, "finding-1")
    assert one.get_y() + one.get_height() < two.get_y()


@pytest.mark.parametrize("width", [370.0, 1080.0])
@pytest.mark.parametrize("since", [0, 3, 8, 11])
def test_the_words_of_a_finding_stay_within_the_figure(width: float, since: int) -> None:
    bars = [
        FindingBar(
            row=0, since=since, level=Level.GROUND, text="Ground it: branch resistance rising"
        )
    ]
    ax = season(width, bars, [])
    fig = ax.figure
    assert isinstance(fig, Figure)
    fig.draw_without_rendering()
    (text,) = named(ax, "finding-text-0")
    box, frame = text.get_window_extent(), ax.get_window_extent()
    assert box.x0 >= frame.x0 - 1
    assert box.x1 <= frame.x1 + 1
    assert text.get_text().startswith("Ground it")


def test_a_repair_is_marked_at_its_place_alone_and_measured_flights_are_dots() -> None:
    ax = season(900, [], [(note("repaired", 8), [2])])
    (mark,) = like(ax, "note-repaired")
    assert set(mark.get_xdata()) == {8.5}
    assert (min(mark.get_ydata()), max(mark.get_ydata())) == (1.5, 2.5)
    assert [t.get_text() for t in ax.texts] == ["R"]
    for row, numbers in ((0, [1, 2, 3]), (1, []), (2, [2])):
        (dots,) = named(ax, f"dots-seen-{row}")
        values = np.asarray(dots.get_ydata(), dtype=float)
        assert list(np.flatnonzero(values == row) + 1) == numbers


def test_lines_on_paper_use_colours_that_reach_three_to_one() -> None:
    """WCAG 2.2, 1.4.11; which of the palette's colours do, test_style.py works out."""
    from telemetry.report.documents.history_figures import KINDS

    for kind in KINDS.values():
        if not kind.amounts:
            dark = {style.BLACK, style.BLUE, style.GREEN, style.VERMILLION, style.PURPLE}
            assert {look.colour for *_, look in kind.lines} <= dark
            drawn = [(look.colour, look.dash, marker) for _, _, marker, look in kind.lines]
            assert len({d[1:] for d in drawn}) == len(drawn), "told apart without colour"


def test_one_flight_alone_can_be_drawn(make_history: Callable[..., History], ax: Axes) -> None:
    none = (None,)
    one = FlightSeries(name="idle", values=(8.0,), low=none, high=none, look=LOOK)
    flights.draw_series(ax, [one], axis(1, note("repaired", 1)), name="voltage", unit="V")
    ax.figure.draw_without_rendering()
    assert ax.get_xlim()[0] < 1 < ax.get_xlim()[1]


def drawn(history: History, what: str) -> list[Axes]:
    """The axes of one figure of a history, from the top."""
    from telemetry.report.picture import draw

    return list(draw(history, what).axes)


def test_all_places_stand_in_one_figure_on_one_scale(history: History) -> None:
    stir, flight = drawn(history, "lows")
    assert (stir.get_ylabel(), flight.get_ylabel()) == ("voltage, stir (V)", "voltage, flight (V)")
    assert stir.get_ylim() == flight.get_ylim()
    assert (stir.get_xlabel(), flight.get_xlabel()) == ("", "flight (No.)")
    kind = history.aircraft.kind
    for ax, feature in ((stir, "lowest_stir_v"), (flight, "lowest_flight_v")):
        wanted = {
            (f.place, f.flight): f.value
            for f in history.features
            if f.feature == feature and f.value is not None and kind(f.place) is not PlaceKind.PACK
        }
        shown = {
            (line.get_label(), history.flights[int(x) - 1].id): y
            for line in like(ax, "value-")
            for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
            if np.isfinite(y)
        }
        assert shown == wanted
        marks = [(line.get_marker(), line.get_color()) for line in like(ax, "value-")]
        assert len({m for m, _ in marks}) == len(marks), "told by shape, not by colour alone"
        low, high = ax.get_ylim()
        assert all(low < v < high for v in wanted.values())


def test_left_minus_right_stands_about_a_line_of_zero(history: History) -> None:
    def value(place: str, flight: str) -> float | None:
        return next(
            (
                f.value
                for f in history.features
                if (f.place, f.flight, f.feature) == (place, flight, "lowest_flight_v")
            ),
            None,
        )

    axes = drawn(history, "sides")
    assert len({ax.get_ylim() for ax in axes}) == 1
    (zero,) = named(axes[-1], "zero")
    assert list(zero.get_ydata()) == [0.0, 0.0]
    (line,) = like(axes[-1], "value-")
    assert line.get_label() == "left wing - right wing"
    for flight, shown in zip(history.flights, line.get_ydata(), strict=True):
        left, right = value("left wing", flight.id), value("right wing", flight.id)
        expected = np.nan if left is None or right is None else left - right
        np.testing.assert_equal(shown, expected)


def test_without_voltages_or_mirrors_there_is_no_such_figure(
    make_history: Callable[..., History],
) -> None:
    from dataclasses import replace

    from telemetry.report.documents.across import Across
    from telemetry.report.documents.history_figures import of_lows, of_sides

    history = make_history()
    bare = replace(history, features=tuple(f for f in history.features if f.unit != "V"))
    assert of_lows(Across.of(bare)) is None
    assert of_sides(Across.of(bare)) is None
    alone = replace(history, features=tuple(f for f in history.features if f.place == "tail"))
    assert of_lows(Across.of(alone)) is not None
    assert of_sides(Across.of(alone)) is None
