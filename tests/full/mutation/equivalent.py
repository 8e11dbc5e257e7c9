"""Mutants that no input can show, each with the reason; looked at by hand."""

from __future__ import annotations

# (file, function, source before, after): reason
EQUIVALENT: dict[tuple[str, str, str, str], str] = {
    (
        "telemetry/numerics/statistics/robust.py",
        "mann_kendall",
        "s == 0 or variance == 0",
        "s == 0 and variance == 0",
    ): "with a sum of 0 the score is 0 anyway, and where all are tied it is 0",
    (
        "telemetry/numerics/sampling.py",
        "update_samples",
        "1.0",
        "0.5",
    ): "the first row of a stretch is taken, and no other, with half a sample as with one",
    (
        "telemetry/detect/activity.py",
        "whole_drawn",
        "0.0",
        "-1.0",
    ): "the greater of it and what is never below 0 counts",
    (
        "telemetry/detect/sags.py",
        "_under",
        "0.0",
        "-1.0",
    ): "no margin and no step: the greater of it and what is never below 0 counts",
    (
        "telemetry/detect/spikes.py",
        "spike_score",
        "0.0",
        "-1.0",
    ): "a least deviation: the greater of it and what is never below 0 counts",
    (
        "telemetry/trends/evidence.py",
        "is_sudden",
        "found.change > 0",
        "found.change >= 0",
    ): "the largest step in values that are not all equal is not 0",
    (
        "telemetry/numerics/attribution.py",
        "most_alike",
        "like[i, j] > best",
        "like[i, j] >= best",
    ): "of two pairs exactly as like either may be put together first",
    (
        "telemetry/measure/packs.py",
        "pack_outs",
        "True",
        "False",
    ): "a row of shares for each pack, made one line before",
    (
        "telemetry/measure/sharing.py",
        "pack_shares",
        "True",
        "False",
    ): "a row of means for each pack, made from the same columns",
    (
        "telemetry/measure/packs.py",
        "silent_stretches",
        "0.0",
        "-1.0",
    ): "stands in for an interval where there is no current: both lie below the least second",
    (
        "telemetry/circuit/worst_cases.py",
        "_all_stalled",
        "servo.stall_a is None or servo.stall_v is None",
        "servo.stall_a is None and servo.stall_v is None",
    ): "a profile has both or neither",
    **{
        (
            "telemetry/measure/control_check.py",
            "may_be_same_control",
            f"chance_missed({which}) > _MISSED",
            f"chance_missed({which}) >= _MISSED",
        ): "0.999 less a ratio near 0.98 is a multiple of 2**-53, and 0.02 is none"
        for which in ("move, known[p]", "m, known[p]")
    },
    (
        "telemetry/measure/servos.py",
        "shares_of_attribution",
        "True",
        "False",
    ): "an attribution has as many coefficients as groups",
    (
        "telemetry/circuit/measured.py",
        "missed_peak_a",
        "times > 1",
        "times >= 1",
    ): "the logarithm of 1 is 0",
    (
        "telemetry/numerics/statistics/robust.py",
        "upper_tail",
        "2",
        "1",
    ): "a polynomial times or over the single term 1 stays as it is",
    **{
        (f"telemetry/checks/{module}.py", function, before, after): "the sign is 1 or -1"
        for module, function, before, after in (
            ("leads/across", "lasting_offset", "sign > 0", "sign >= 0"),
            ("leads/across", "offset_finding", "sign > 0", "sign >= 0"),
            ("sensors/counters", "judge_counter", "100.0 * sign", "100.0 / sign"),
        )
    },
    **{
        (f"telemetry/{module}.py", function, "True", "False"): "both are of one length"
        for module, function in (
            ("checks/supply/dips", "judge_dips_of"),
            ("trends/features/windows", "full_stirs"),
        )
    },
    (
        "telemetry/checks/tree.py",
        "root_of",
        "0",
        "-1",
    ): "the first of one is the last",
    (
        "telemetry/trends/table.py",
        "_widths",
        "0",
        "1",
    ): "a stretch without a value tells as little as none",
    (
        "telemetry/trends/features/windows.py",
        "block_length",
        "0.0",
        "-1.0",
    ): "a stretch is a second at the least",
    **{
        ("telemetry/report/words.py", function, before, after): "as many decimals are shown"
        for function, before, after in (
            ("", "1.0", "2.0"),
            ("", "0.1", "0.2"),
            ("usual_step", "0.01", "0.02"),
            ("_estimate", "0.1", "0.2"),
        )
    },
    **{
        ("telemetry/report/documents/of_budget.py", function, "0.0", after): "None was left out"
        for function in ("_problems", "_one_lost", "_largest_drop")
        for after in ("1.0", "-1.0")
    },
    (
        "telemetry/cli/add.py",
        "add",
        "0",
        "-1",
    ): "of joined logs there is one outcome: the first is the last",
    (
        "telemetry/report/words.py",
        "decimals_of",
        "1",
        "0",
    ): "relative to its own size nothing but 0 is near 0",
    **{
        ("telemetry/importer/text/aligning.py", "_assign", "0.0", after): "every way to pair them "
        "begins and ends there: all scores move alike"
        for after in ("1.0", "-1.0")
    },
    (
        "telemetry/book/maps.py",
        "guess",
        "0",
        "-1",
    ): "one is left: the first is the last",
    **{
        ("telemetry/book/records.py", "new_note", "0", after): "the book gives it its order"
        for after in ("1", "-1")
    },
    **{
        ("telemetry/checks/servos/claims.py", "read_more", "1.0", after): "a weighted mean: only "
        "how the weights compare counts"
        for after in ("2.0", "0.5")
    },
    (
        "telemetry/importer/names/values.py",
        "stand_ins",
        "True",
        "False",
    ): "numbers and how often each stands there, told together",
    **{
        ("telemetry/measure/away.py", "dead_spans", "0.0", after): "of a single instant none comes "
        "after one at which it lived"
        for after in ("1.0", "-1.0")
    },
}
