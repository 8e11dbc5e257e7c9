"""The evidence of a finding in words: names of measures become labels, values get their unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from telemetry.model.text import plain
from telemetry.report.words import (
    CASE_WORD,
    EVIDENCE_WORD,
    NumberSteps,
    clock,
    interval,
    lasting,
    measure,
    percent,
    sentence,
)
from telemetry.results import Finding

Fact = tuple[str, str]
Value = float | int | str | None

_LABELS = {
    "times": "how often",
    "time_s": "at",
    "case": "case",
    "evidence": "seen",
    "deepest_v": "deepest below the reference",
    "longest_s": "longest",
    "level_v": "level",
    "below_s": "below it under load for",
    "loaded_s": "read under load for",
    "short_v": "short of it, mean under load",
    "deep_v": "far below is under",
    "deep_s": "far below for",
    "landing_rest_v": "at rest after landing",
    "rest_floor_v": "floor at rest",
    "damage_v": "damaged at rest below",
    "voltage_v": "voltage to expect",
    "current_a": "at a current of",
    "also_low": "low as well",
    "compared_with": "compared with",
    "compared_mohm": "which has",
    "after_a": "current after the stir",
    "allowed_points": "allowed beside one half, points",
    "column": "column",
    "residual_v": "lowest voltage",
    "lowest_v": "lowest voltage",
    "depth_v": "depth below the reference",
    "reference_v": "reference voltage",
    "deficit_vs": "volt-seconds below the reference",
    "duration_s": "lasted",
    "peak_a": "highest current during it",
    "explained": "share of the depth that the load explains",
    "explained_by": "explained by",
    "observed_v": "margin to restart",
    "margin_v": "margin to restart",
    "restart_v": "restart level",
    "comfort_v": "lowest comfortable supply",
    "mohm": "resistance",
    "source_mohm": "source resistance",
    "branch_mohm": "resistance of lead and contacts",
    "expected_mohm": "expected from the wire table",
    "offset_v": "voltage difference at no current",
    "updates": "independent updates behind it",
    "share": "share of the current",
    "holds_mah": "it holds",
    "rated_mah": "by the profile",
    "capacity_ratio": "capacity over the other's",
    "resistance_ratio": "resistance over the other's",
    "more_mohm": "more by",
    "more_mah": "the other gave more by",
    "logged_mah": "charge by the logged counter",
    "integrated_mah": "charge by adding up the current",
    "balance_a": "total minus the sum of the nodes",
    "rest_a": "current at rest",
    "rest_v": "voltage at rest",
    "other_rest_v": "the other's at rest",
    "loaded_v": "voltage under load",
    "other_loaded_v": "the other's under load",
    "gap_pct": "lower by",
    "cell_v": "a cell at rest",
    "nominal_v": "nominal of a cell",
    "landing_pct": "left at landing",
    "reserve_pct": "reserve",
    "drawn_mah": "drawn",
    "counter_start_mah": "counter at the start",
    "change_share": "share of a change of the load",
    "share_before": "share before",
    "out_s": "without current for",
    "carried_a": "carried by the others",
    "bus_v": "lowest bus voltage meanwhile",
    "own_v": "its own voltage meanwhile",
    "sign": "its voltage says",
    "before": "counter before",
    "after": "counter after",
    "counters": "counters that began again",
    "silent_s": "silent before",
    "drop_v": "drop at the highest current",
    "drop_pct": "of the supply",
    "usual_a": "mean over a minute",
    "worst_a": "worst case",
    "limit_a": "may carry",
    "limit_from": "limit from",
    "ratio": "counter over added up",
    "before_mohm": "before",
    "rise_mohm": "more by",
    "mirror_rest_a": "current at rest on the other side",
    "shortest_sure_dip_s": "shortest dip the log is sure to show",
    "update_s": "update interval",
    "resolution_v": "resolution",
    "kind": "came",
    "node_rise_pct": "rise of the whole place",
    "ramp_pct": "rise within a flight",
    "servos": "servos there",
    "suspect_1": "most likely the servos on",
    "suspect_1_pct": "chance of these",
    "suspect_2": "else the servos on",
    "suspect_2_pct": "chance of these",
    "suspect_3": "or the servos on",
    "suspect_3_pct": "chance of these",
    "or_place": "or it is",
    "group_rise_pct": "rise of what the likeliest draw",
    "from": "fed from",
    "measured": "measured with its",
    "flights_with": "flights with it",
    "gravest_flight": "most serious in",
    "recent_flights": "of the newest",
    "usual_per_flight": "usual a flight",
    "usual_share": "usual share",
    "ran_over": "it came to its end and ran over",
    "of_a_clock": "it is a clock",
    "of_the_path": "measured between pack and bus",
    "sensor_alone": "drop and total unchanged",
}
_WORDS: dict[str, str] = {**CASE_WORD, **{str(k): v for k, v in EVIDENCE_WORD.items()}}
_ENDINGS = (
    ("_mohm", " mOhm"),
    ("_mah", " mAh"),
    ("_degc", " degC"),
    ("_c", " degC"),
    ("_pct", " %"),
    ("_hz", " Hz"),
    ("_vs", " V s"),
    ("_v", " V"),
    ("_a", " A"),
    ("_s", " s"),
)
_INSTANTS = ("start_s", "end_s", "time_s", "at_s", "since_s")


def facts(finding: Finding, steps: NumberSteps) -> tuple[Fact, ...]:
    """Label and value of each piece of evidence, in the order given.

    An estimate that comes with ``low_`` and ``high_`` beside it is printed as one interval.
    """
    evidence = finding.evidence
    rows: list[Fact] = []
    for key, value in evidence.items():
        if value is None or value == "" or _is_bound(key, evidence):
            continue
        if key == "reasons" or (key == "times" and value == 1):
            continue
        low, high = _bounds(key, evidence)
        rows.append((_label(key), _value(key, value, low, high, finding.place, steps)))
    return tuple(rows)


def causes_head(finding: Finding, told_by: str = "this log") -> str:
    """What stands above the causes of a finding: whether they are ranked."""
    if len(finding.causes) < 2:
        return "Possible causes"
    if finding.ranked:
        return "The likeliest cause first"
    return f"Causes that {told_by} cannot rank"


def cause_words(finding: Finding) -> tuple[str, ...]:
    """Each cause with what speaks for it and against it."""
    out = []
    for cause in finding.causes:
        parts = [sentence(cause.cause)]
        for head, words in (("For it", cause.speaks_for), ("Against it", cause.speaks_against)):
            if words:
                parts.append(f"{head}: {plain('; '.join(words))}.")
        out.append(" ".join(parts))
    return tuple(out)


def beneath(head: Finding, findings: Iterable[Finding]) -> tuple[str, ...]:
    """What follows from a finding, in the words of its own findings."""
    return tuple(
        sentence(f.title)
        for f in findings
        if (f.follows_code, f.follows_place) == (head.code, head.place)
        and head.flight in (None, f.flight)
    )


# Estimates whose bounds are named by their unit alone.
_BOUNDED = {"voltage_v": "v", "offset_v": "v"}


def _is_bound(key: str, evidence: Mapping[str, Value]) -> bool:
    head, _, rest = key.partition("_")
    if head not in ("low", "high"):
        return False
    return rest in evidence or any(k in evidence and rest == u for k, u in _BOUNDED.items())


def _bounds(key: str, evidence: Mapping[str, Value]) -> tuple[Value, Value]:
    name = key if f"low_{key}" in evidence else _BOUNDED.get(key, key)
    return evidence.get(f"low_{name}"), evidence.get(f"high_{name}")


def _label(key: str) -> str:
    if key in _LABELS:
        return _LABELS[key]
    for ending, _ in _ENDINGS:
        key = key.removesuffix(ending)
    return plain(key.replace("_", " "))


def _value(
    key: str, value: Value, low: Value, high: Value, place: str | None, steps: NumberSteps
) -> str:
    if isinstance(value, str):
        return _WORDS.get(value, plain(value).replace(" branch ", " lead "))
    if isinstance(value, bool):
        return "yes" if value else "no"
    if key.endswith(_INSTANTS):
        return clock(value)
    unit = next((u.strip() for e, u in _ENDINGS if f"_{key}".endswith(e)), "")
    if isinstance(low, float | int) and isinstance(high, float | int):
        return interval(value, float(low), float(high), unit)
    if unit == "V":
        return steps.volts(value, place)
    if unit == "A":
        return steps.amps(value, place)
    if unit == "mAh":
        return steps.mah(value, place)
    if unit == "s":
        return lasting(value)
    if unit:
        return measure(value, unit, {"%": 1.0, "mOhm": 1.0}.get(unit, 0.1))
    if isinstance(value, float) and ("share" in key or "explained" in key):
        return percent(value)
    if isinstance(value, int):
        return str(value)
    return f"{value:.4g}"
