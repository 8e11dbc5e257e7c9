"""One figure by itself, as notebooks and scripts draw it."""

from __future__ import annotations

import matplotlib as mpl
import pytest

import telemetry
from telemetry.results import Finding, Level


def texts(fig) -> set[str]:
    fig.draw_without_rendering()
    found = {t.get_text() for ax in fig.axes for t in (*ax.texts, *ax.get_xticklabels())}
    found |= {ax.get_ylabel() for ax in fig.axes} | {ax.get_xlabel() for ax in fig.axes}
    return found


def test_without_a_name_it_is_the_figure_that_shows_everything(review, history) -> None:
    shown = texts(telemetry.draw(review))
    assert {"voltage (V)", "current (A)", "time of the recording (mm:ss)"} <= shown
    assert any("4.60 V" in t for t in shown), "the lowest voltage is named"
    assert "flight (No.)" in texts(telemetry.draw(history))


def test_a_finding_brings_its_proof(review, history) -> None:
    dip = next(f for f in review.findings if f.code == "sag-unexplained")
    fig = telemetry.draw(review, dip)
    low, high = fig.axes[0].get_xlim()
    assert low < 522.0 < 522.6 < high, "the dip lies within what is shown"
    assert high - low < 60.0, "close up"
    servo = next(f for f in history.findings if f.code == "servo-current-rising")
    rise, chart = telemetry.draw(history, servo).axes
    assert rise.get_ylabel() == "rise (%)"
    assert chart.get_ylabel() == "evidence"


def test_a_stretch_of_the_recording_is_shown_as_asked(review) -> None:
    fig = telemetry.draw(review, "zoom", "left wing", between=(520.0, 525.0))
    for ax in fig.axes:
        assert ax.get_xlim() == pytest.approx((520.0, 525.0))


def test_a_name_and_a_place_choose_the_figure(review, history) -> None:
    fig = telemetry.draw(review, "scatter", "left wing")
    assert fig.axes[0].get_xlabel() == "current of left wing (A)"
    assert "resistance (mOhm)" in texts(telemetry.draw(history, "mohm", "left wing"))
    assert telemetry.draw(history, "trend", "left wing").axes


def test_what_there_is_not_is_refused_with_what_there_is(review, history, bare_review) -> None:
    with pytest.raises(telemetry.UnknownSetting, match=r"no figure 'heat'; figures here: timeline"):
        telemetry.draw(review, "heat")
    with pytest.raises(telemetry.UnknownSetting, match="no figure 'scatter' of 'moon'"):
        telemetry.draw(review, "scatter", "moon")
    with pytest.raises(telemetry.UnknownSetting, match="figures here: season"):
        telemetry.draw(history, "timeline")
    with pytest.raises(telemetry.UnknownSetting, match="no figure 'overview'; figures here: none"):
        telemetry.draw(bare_review)
    thin = Finding(code="log-too-thin", level=Level.UNKNOWN, place=None, title="too thin")
    with pytest.raises(telemetry.UnknownSetting, match="no figure can prove 'too thin'"):
        telemetry.draw(review, thin)


def test_the_user_s_own_settings_neither_enter_nor_change(review) -> None:
    plain = texts(telemetry.draw(review, "charge"))
    with mpl.rc_context({"font.size": 30.0, "axes.edgecolor": "red"}):
        before = dict(mpl.rcParams)
        fig = telemetry.draw(review, "charge")
        assert dict(mpl.rcParams) == before
    assert texts(fig) == plain
    sizes = {t.get_fontsize() for ax in fig.axes for t in ax.get_xticklabels()}
    assert max(sizes) < 15.0
