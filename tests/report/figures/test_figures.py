from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from telemetry.aircraft import Aircraft
from telemetry.model.channels import Quantity
from telemetry.readings import Readings, lowest_voltage, take_readings
from telemetry.report.figures import closeup, comparison, style, timeline
from telemetry.report.figures.pairs import pairs_of
from telemetry.report.figures.traces import (
    Lowest,
    lowest_judged,
    of_quantity,
    path_order,
)
from telemetry.results import EventKind, Origin, PhaseKind, Review, Span


@pytest.fixture(scope="module")
def readings(review: Review) -> Readings:
    return take_readings(review.log, review.limits)


@pytest.fixture(scope="module")
def looks(readings: Readings) -> dict[str, style.Look]:
    return style.looks((r.place for r in readings.of(Quantity.VOLTAGE)), Aircraft())


@pytest.fixture(scope="module")
def drawn(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> tuple[Figure, timeline.TimelineLayout]:
    fig = style.new_figure(1080, 430)
    return fig, timeline.compose(fig, review, readings, looks)


def axes_named(fig: Figure, name: str) -> Axes:
    (found,) = [ax for ax in fig.axes if ax.get_ylabel() == name]
    return found


def lines(ax: Axes) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    return {
        str(line.get_label()): (np.asarray(line.get_xdata()), np.asarray(line.get_ydata()))
        for line in ax.lines
        if str(line.get_gid()).startswith("trace-")
    }


def time_span(ax: Axes, patch: Patch) -> tuple[float, float]:
    """Start and end of a span: a rectangle, or a polygon in older versions of matplotlib."""
    box = patch.get_window_extent().transformed(ax.transData.inverted())
    return float(box.x0), float(box.x1)


def test_the_timeline_names_its_axes_with_units(
    drawn: tuple[Figure, timeline.TimelineLayout],
) -> None:
    fig, _ = drawn
    labels = [ax.get_ylabel() for ax in fig.axes if ax.get_ylabel()]
    assert labels == ["voltage (V)", "current (A)"]
    assert axes_named(fig, "current (A)").get_xlabel() == "time of the recording (mm:ss)"


def test_the_timeline_has_one_line_for_each_place(
    drawn: tuple[Figure, timeline.TimelineLayout], readings: Readings
) -> None:
    fig, _ = drawn
    for name, quantity in (("voltage (V)", Quantity.VOLTAGE), ("current (A)", Quantity.CURRENT)):
        places = [r.place for r in of_quantity(readings, quantity, Aircraft())]
        assert list(lines(axes_named(fig, name))) == places
    assert [t.get_text() for t in fig.legends[0].get_texts()] == places


def test_every_lowest_voltage_and_highest_current_is_on_its_line(
    drawn: tuple[Figure, timeline.TimelineLayout], readings: Readings
) -> None:
    fig, _ = drawn
    for r in of_quantity(readings, Quantity.VOLTAGE, Aircraft()):
        t, v = lines(axes_named(fig, "voltage (V)"))[r.place]
        assert np.nanmin(v) == r.v.min()
        assert t[np.nanargmin(v)] == r.t[r.v.argmin()]
    for r in of_quantity(readings, Quantity.CURRENT, Aircraft()):
        _, v = lines(axes_named(fig, "current (A)"))[r.place]
        assert np.nanmax(v) == r.v.max()


def test_the_axes_span_the_recording_and_all_readings(
    drawn: tuple[Figure, timeline.TimelineLayout], readings: Readings
) -> None:
    fig, layout = drawn
    for ax in fig.axes:
        assert ax.get_xlim() == (readings.start_s, readings.end_s)
    for panel, quantity in zip(layout.panels, (Quantity.VOLTAGE, Quantity.CURRENT), strict=True):
        values = np.concatenate([r.v for r in of_quantity(readings, quantity, Aircraft())])
        assert panel.low <= values.min()
        assert panel.high >= values.max()
    volts = axes_named(fig, "voltage (V)")
    low, high = volts.get_ylim()
    assert (layout.panels[0].low, layout.panels[0].high) == (low, high)


def test_the_layout_places_the_panels_where_they_are(
    drawn: tuple[Figure, timeline.TimelineLayout],
) -> None:
    fig, layout = drawn
    for panel, name in zip(layout.panels, ("voltage (V)", "current (A)"), strict=True):
        box = axes_named(fig, name).get_position()
        assert box.x0 * 1080 == pytest.approx(panel.left)
        assert box.width * 1080 == pytest.approx(panel.width)
        assert (1 - box.y1) * 430 == pytest.approx(panel.top)
        assert box.height * 430 == pytest.approx(panel.height)


def test_the_spurious_reading_is_not_drawn(drawn: tuple[Figure, timeline.TimelineLayout]) -> None:
    _, volts = lines(axes_named(drawn[0], "voltage (V)"))["bus"]
    assert np.nanmin(volts) > 5


def test_lines_break_at_the_gap(drawn: tuple[Figure, timeline.TimelineLayout]) -> None:
    t, v = lines(axes_named(drawn[0], "voltage (V)"))["tail"]
    # The log has no rows between 300 and 304 s: the last before and first after stand beside a NaN.
    broken = np.flatnonzero(np.isnan(v))
    assert broken.size == 1
    before, after = t[broken[0] - 1], t[broken[0] + 1]
    assert before < 300.0 < 303.0 < after < 306.0


def gaps_shown(fig: Figure, label: str) -> list[tuple[float, float]]:
    """Start and end of the stretches without rows set off in the panel of this label."""
    drawn = [c for c in axes_named(fig, label).collections if c.get_gid() == "gap-all"]
    boxes = [p.vertices[:, 0] for c in drawn for p in c.get_paths()]
    return [(float(x.min()), float(x.max())) for x in boxes]


def test_every_gap_is_set_off_in_both_panels(
    drawn: tuple[Figure, timeline.TimelineLayout], review: Review
) -> None:
    spans = [(g.start_s, g.end_s) for g in review.quality.gaps]
    assert spans
    for label in ("voltage (V)", "current (A)"):
        np.testing.assert_allclose(gaps_shown(drawn[0], label), spans)
    strips = [ax for ax in drawn[0].axes if not ax.get_ylabel()]
    assert not [c for ax in strips for c in ax.collections if c.get_gid() == "gap-all"]


def test_of_very_many_gaps_the_longest_are_set_off(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> None:
    # 201 gaps in no order of length: the shortest one is left out.
    lengths = 0.5 + 0.01 * ((np.arange(201) * 37 + 90) % 201)
    shortest = int(np.argmin(lengths))
    gaps = tuple(
        Span(start_s=3.0 * k, end_s=3.0 * k + length) for k, length in enumerate(lengths.tolist())
    )
    cut = replace(review, quality=replace(review.quality, gaps=gaps))
    fig = style.new_figure(1080, 430)
    timeline.compose(fig, cut, readings, looks)
    starts = [start for start, _ in gaps_shown(fig, "voltage (V)")]
    assert starts == pytest.approx([3.0 * k for k in range(201) if k != shortest])


def test_event_marks_stand_at_their_seconds_with_their_shapes(
    drawn: tuple[Figure, timeline.TimelineLayout], review: Review
) -> None:
    events = [e for f in review.flights for e in f.events]
    marks = {
        line.get_gid(): line
        for ax in drawn[0].axes
        for line in ax.lines
        if str(line.get_gid()).startswith("event-")
    }
    assert sum(len(np.asarray(mark.get_xdata())) for mark in marks.values()) == len(events)
    for event in events:
        quiet = event.kind is EventKind.SAG and event.origin is Origin.LOAD
        mark = marks["event-of-load" if quiet else f"event-{event.kind.value}"]
        at = np.asarray(mark.get_xdata())
        assert ((event.start_s <= at) & (at <= event.end_s)).any()
        shapes = {EventKind.SAG: "v", EventKind.SPIKE: "^", EventKind.UNDERVOLTAGE: "D"}
        assert mark.get_marker() == ("|" if quiet else shapes[event.kind])


def test_phases_stand_at_their_seconds_and_short_ones_are_named_once(
    drawn: tuple[Figure, timeline.TimelineLayout], review: Review
) -> None:
    strip = drawn[0].axes[0]
    phases = review.flights[0].phases
    spans = [time_span(strip, p) for p in strip.patches]
    assert np.allclose(spans, [(p.start_s, p.end_s) for p in phases])
    names = [t.get_text() for t in strip.texts]
    assert names.count("flight") == 1
    assert names.count("stir") == 1
    assert names.count("check") == 1
    hatches = {p.kind: patch.get_hatch() for p, patch in zip(phases, strip.patches, strict=True)}
    assert hatches[PhaseKind.STIR] != hatches[PhaseKind.REDUNDANCY_CHECK]


def test_the_lowest_reading_is_ringed_and_worded(
    drawn: tuple[Figure, timeline.TimelineLayout],
) -> None:
    ax = axes_named(drawn[0], "voltage (V)")
    (ring,) = [line for line in ax.lines if line.get_gid() == "lowest-ring"]
    assert (ring.get_xdata()[0], ring.get_ydata()[0]) == (522.0, 4.6)  # type: ignore[index]
    words = [t.get_text() for t in ax.texts]
    assert "lowest 4.60 V, left wing, 08:42" in words


def test_a_unit_s_own_minimum_is_ringed_below_all_readings() -> None:
    ax = style.axes_at(style.new_figure(400, 200), 50, 10, 300, 150)
    ax.set_xlim(0, 900)
    ax.set_ylim(7.0, 8.0)
    low = Lowest(place="left wing", flight=1, volts=6.92, time_s=443.0, held=True)
    timeline.draw_lowest(ax, low, 0.01)
    (ring,) = [line for line in ax.lines if line.get_gid() == "lowest-ring"]
    assert (ring.get_xdata()[0], ring.get_ydata()[0]) == (443.0, 6.92)  # type: ignore[index]
    assert ax.get_ylim()[0] < 6.92
    assert ax.get_ylim()[1] == 8.0


def test_a_lowest_voltage_that_no_row_shows_has_no_instant(
    review: Review, readings: Readings
) -> None:
    flight = review.flights[0]
    margin = replace(flight.margins[0], place="left wing", lowest_v=4.321)
    low = lowest_judged(replace(review, flights=(replace(flight, margins=(margin,)),)), readings)
    assert low == Lowest(place="left wing", flight=1, volts=4.321, time_s=None, held=False)


@pytest.mark.parametrize("kept", [Quantity.VOLTAGE, Quantity.CURRENT])
def test_the_lane_of_events_stands_clear_of_the_times(review: Review, kept: Quantity) -> None:
    """Where the log has only voltages, or only currents."""
    columns = [c for c in review.log.channels if c.quantity in (kept, Quantity.TIME)]
    log = replace(review.log, channels=tuple(columns))
    fig = style.new_figure(1080, 340)
    readings = take_readings(log, review.limits)
    looks = style.looks((r.place for r in readings.of(kept)), Aircraft())
    timeline.compose(fig, replace(review, log=log), readings, looks)
    fig.draw_without_rendering()
    (lane,) = [t for ax in fig.axes for t in ax.texts if t.get_text() == "events"]
    times = [t for ax in fig.axes for t in ax.get_xticklabels() if ":" in t.get_text()]
    assert times
    assert not any(lane.get_window_extent().overlaps(t.get_window_extent()) for t in times)


def test_the_restart_level_is_shown_where_it_is_near_only(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> None:
    def texts(restart_v: float) -> list[str]:
        limits = review.limits.model_copy(update={"restart_v": restart_v, "comfort_v": None})
        fig = style.new_figure(800, 400)
        timeline.compose(fig, replace(review, limits=limits), readings, looks)
        return [t.get_text() for t in axes_named(fig, "voltage (V)").texts]

    assert "restart level 3.5 V" in texts(3.5)
    assert not [t for t in texts(2.0) if "restart" in t]


def test_nothing_stands_outside_the_picture(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> None:
    for width, height in ((1080, 400), (370, 440)):
        fig = style.new_figure(width, height)
        timeline.compose(fig, review, readings, looks, legend=True)
        fig.draw_without_rendering()
        for ax in fig.axes:
            box = ax.get_tightbbox()
            assert box is not None
            assert box.x0 >= -1
            assert box.x1 <= width + 1
            assert box.y0 >= -1
            assert box.y1 <= height + 1


def test_the_zoom_shows_the_place_its_parent_and_its_mirror(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> None:
    fig = style.new_figure(440, 280)
    closeup.zoom(
        fig, review, readings, looks, place="left wing", span=(510.0, 534.0), mark=(522.0, 522.6)
    )
    volts = axes_named(fig, "voltage (V)")
    assert set(lines(volts)) == {"bus", "left wing", "right wing"}
    assert volts.get_xlim() == (510.0, 534.0)
    (mark,) = [p for p in volts.patches if p.get_gid() == "mark"]
    assert time_span(volts, mark) == pytest.approx((522.0, 522.6))
    t, v = lines(volts)["left wing"]
    assert v.min() == 4.6
    assert t.min() >= 510.0
    assert t.max() <= 534.0
    assert "4.60 V from 5.93 V" in [x.get_text() for x in volts.texts]


def test_a_steady_voltage_does_not_fill_a_close_up(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> None:
    fig = style.new_figure(440, 280)
    closeup.zoom(fig, review, readings, looks, place="tail", span=(880.0, 899.0), mark=None)
    low, high = axes_named(fig, "voltage (V)").get_ylim()
    assert high - low == pytest.approx(0.3)


def test_the_stir_shows_all_its_places_and_where_it_was(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> None:
    stir = review.flights[0].stirs[0]
    fig = style.new_figure(440, 280)
    closeup.stir(fig, review, readings, looks, stir=stir)
    amps = axes_named(fig, "current (A)")
    assert set(lines(amps)) == {"bus", "left wing", "right wing", "tail"}
    start, end = amps.get_xlim()
    assert start < stir.start_s < stir.end_s < end


def test_voltage_against_current_has_the_slope_of_the_record(
    review: Review, readings: Readings, looks: dict[str, style.Look]
) -> None:
    flight = review.flights[0]
    for resistance in flight.resistances:
        pairs = pairs_of(readings, review.aircraft, flight, resistance)
        if resistance.mohm is None:
            assert pairs is None
            continue
        assert pairs is not None
        fig = Figure()
        ax = comparison.draw_voltage_against_current(
            fig.add_subplot(), pairs, resistance, looks[resistance.place]
        )
        by_gid = {line.get_gid(): line for line in ax.lines}
        for gid, mohm in (
            ("line-fitted", resistance.mohm),
            ("line-low", resistance.low_mohm),
            ("line-high", resistance.high_mohm),
        ):
            x, y = by_gid[gid].get_data()
            slope = (y[1] - y[0]) / (x[1] - x[0])
            sign = -1 if resistance.kind == "source" else 1
            assert slope == pytest.approx(sign * mohm / 1000)
        assert ax.get_xlabel().endswith("(A)")
        assert ax.get_ylabel().endswith("(V)")


def test_the_cloud_of_a_branch_follows_the_planted_resistance(
    review: Review, readings: Readings
) -> None:
    """The made log has 21 mOhm between bus and right wing: the drawn points must say so."""
    flight = review.flights[0]
    (right,) = [r for r in flight.resistances if r.place == "right wing"]
    pairs = pairs_of(readings, review.aircraft, flight, right)
    assert pairs is not None
    slope = np.polyfit(pairs.mean_current_a, pairs.mean_voltage_v, 1)[0]
    assert slope == pytest.approx(0.021, rel=0.1)
    assert pairs.current_a.size <= 500


def test_a_lead_from_a_pack_is_drawn_against_the_current_of_that_pack(
    review: Review, readings: Readings
) -> None:
    """Of two packs each carries a part: against the whole current the slope would be too flat."""
    flight = review.flights[0]
    way = replace(flight.resistances[0], kind="branch", place="bus", parent="pack 1", mohm=5.0)
    pairs = pairs_of(readings, review.aircraft, flight, way)
    assert pairs is not None
    assert pairs.current_name == "current of pack 1"
    own = readings.get(Quantity.CURRENT, "pack 1")
    assert own is not None
    assert pairs.current_a.max() == own.within(flight.start_s, flight.end_s).v.max()


def test_readings_outside_the_frame_are_counted(review: Review, readings: Readings) -> None:
    flight = review.flights[0]
    (left,) = [r for r in flight.resistances if r.place == "left wing"]
    pairs = pairs_of(readings, review.aircraft, flight, left)
    assert pairs is not None
    assert pairs.outside == 6  # the six readings of the planted dip, 0.6 s at 10 Hz
    ax = comparison.draw_voltage_against_current(
        Figure().add_subplot(), pairs, left, style.Look(style.BLACK, ())
    )
    assert "outside the frame: 6" in [t.get_text() for t in ax.texts]


def test_places_are_compared_by_bar_peak_and_rest(review: Review) -> None:
    places = review.flights[0].stirs[0].places
    ax = comparison.draw_places(Figure().add_subplot(), places, {})
    widths = [bar.get_width() for bar in ax.patches]  # type: ignore[attr-defined]
    assert widths == [p.mean_a for p in places]
    assert [t.get_text() for t in ax.get_yticklabels()] == [p.place for p in places]
    peaks = [line.get_xdata()[0] for line in ax.lines if "peak" in str(line.get_gid())]  # type: ignore[index]
    assert peaks == [p.peak_a for p in places]
    assert ax.get_xlabel().endswith("(A)")
    assert ax.get_xlim()[1] > max(peaks)


def test_what_was_not_measured_gets_no_bar(review: Review) -> None:
    places = review.flights[0].stirs[1].places
    ax = comparison.draw_places(Figure().add_subplot(), places, {})
    assert len(ax.patches) == len(places) - 1
    assert "tail" not in [t.get_text() for t in ax.get_yticklabels()]


def test_charge_shows_both_numbers(review: Review) -> None:
    charge = review.flights[0].charge
    ax = comparison.draw_charge(Figure().add_subplot(), charge, {})
    assert [b.get_width() for b in ax.patches] == [c.integrated_mah for c in charge]  # type: ignore[attr-defined]
    counters = [line.get_xdata()[0] for line in ax.lines]  # type: ignore[index]
    assert counters == [c.logged_mah for c in charge]
    assert ax.get_xlabel().endswith("(mAh)")
    assert not [c for c in ax.collections if isinstance(c, PathCollection)]


def test_dollar_signs_and_strange_letters_in_names_are_only_letters(
    make_review: Callable[..., Review],
) -> None:
    from telemetry.report.draw import settings

    odd = "$x_1$ \u200f\x1b[31m 左翼 with a very long name"
    with settings():
        fig = style.new_figure(400, 200)
        style.legend_of(fig, {odd: style.Look(style.BLACK, ())}, [odd], left=10)
        fig.draw_without_rendering()
        (text,) = [t.get_text() for t in fig.legends[0].get_texts()]
    assert text.startswith("$x_1$ ??[31m")
    assert len(text) <= 20


def test_extremes_by_phase(readings: Readings, review: Review) -> None:
    flight = [p for p in review.flights[0].phases if p.kind is PhaseKind.FLIGHT]
    assert lowest_voltage(readings, "left wing", flight) == (4.6, 522.0, False)
    assert lowest_voltage(readings, "left wing", []) is None
    assert lowest_voltage(readings, "nowhere", flight) is None


def test_places_come_in_the_order_of_the_power_path() -> None:
    names = ["tail", "aileron", "bus", "receiver 1", "pack 2", "regulator", "pack 1", "left wing"]
    assert path_order(names, Aircraft()) == (
        *("pack 2", "pack 1", "regulator", "bus"),
        *("tail", "left wing", "receiver 1", "aileron"),
    )
