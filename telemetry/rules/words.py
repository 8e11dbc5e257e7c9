"""The standing words of each finding: other explanations, what tells them apart, what to do."""

from __future__ import annotations

from typing import NamedTuple


class Words(NamedTuple):
    """The standing text of a finding code."""

    explanations: tuple[str, ...]
    confirm: str
    advice: str


# A restart under load is told in other words than one on the ground: nobody switches off there.
RESTART_UNDER_LOAD = Words(
    (
        "its supply was lost too shortly for the interval of this log",
        "a plug, switch or lead on its way opened for a moment",
        "the unit started itself anew though its supply held",
        "a hand: the counter was reset by hand or by the transmitter, or the pilot switched the "
        "system off and on",
    ),
    "With the system on and loaded, move every plug, switch and lead on its way and watch that "
    "counter; log the unit's uptime, which only a restart sets back.",
    "Find out before the next flight why it began again; unless it was reset by hand, treat it as "
    "a brownout.",
)

WORDS: dict[str, Words] = {
    "brownout": Words(
        (
            "the supply fell to the level at which electronics restart",
            "a connector, switch or lead opened for a moment",
            "a false reading, where no counter began again and no other unit saw it",
        ),
        "Load the bus on the bench with a known load and move every plug and switch in the path.",
        "Do not fly until the cause is found and put right.",
    ),
    "restart": Words(
        (
            "the pilot switched the system off and on",
            "the counter was reset by hand or by the transmitter",
            "the unit lost its supply for a moment",
        ),
        "Ask whether it was switched or reset then; log the unit's uptime, which only a restart "
        "sets back; with the system on, move its plug and switch and watch that counter.",
        "If nobody switched or reset it, treat it as a brownout.",
    ),
    "margin-low": Words(
        (
            "the packs are weak, cold or nearly empty for this load",
            "resistance in the path: switch, leads, connectors",
            "the restart level in force is not that of your equipment",
        ),
        "Repeat the stir with full, warm packs and compare; set restart_v from the data sheets.",
        "Charge or change the packs, and shorten or thicken the path before the next flight.",
    ),
    "undervoltage": Words(
        ("the load at that moment", "a pack near its end", "a comfort level set too high"),
        "Compare with the data sheet of the servos; repeat the stir with full packs.",
        "Watch the lowest voltage of the next flight; set comfort_v in the profile.",
    ),
    "sag-unexplained": Words(
        (
            "a contact that opens for moments: plug, switch, broken strands",
            "a current peak that fell between two readings of the current sensor",
            "a false reading of the voltage sensor",
        ),
        "With the system on and a steady load, move that plug and lead and watch the voltage.",
        "Clean or replace that plug and lead, then repeat the stir before the next flight.",
    ),
    "lead-undersized": Words(
        (
            "the lead is thin or long for what hangs on it",
            "the plug has too few pins for what flows through it",
            "one of its servos draws more than it should",
        ),
        "Work it out with busbook budget; feel lead and plug for warmth after a long stir.",
        "Fit thicker wire, a shorter way or more pins before hard flying.",
    ),
    "branch-resistance-high": Words(
        (
            "a worn or dirty connector or broken strands in that lead",
            "a longer or thinner lead than its mirror",
            "a current sensor that reads low there",
        ),
        "Measure the drop along that lead at a known load; swap the leads left for right.",
        "Clean or replace the connector of that lead before the next flight.",
    ),
    "source-resistance-high": Words(
        (
            "that pack has aged or is colder than the other",
            "resistance in that pack's plug, switch or lead",
        ),
        "Swap the packs: if the value moves with the pack it is the pack, else its path.",
        "Measure the pack's internal resistance warm, at a known charge.",
    ),
    "pack-share": Words(
        (
            "unequal charge, age or temperature of the two packs",
            "resistance in one pack's plug, switch or lead",
            "two regulators with set-points a little apart",
        ),
        "Compare rest voltages before the flight; swap the packs and repeat the stir.",
        "Charge both packs fully and compare the shares again.",
    ),
    "pack-out": Words(
        (
            "that pack, its plug, switch or lead opened",
            "that pack's protection switched it off",
            "its current sensor failed",
        ),
        "Switch the other pack off on the ground and see whether the bus stays up.",
        "Do not fly on one pack: find why the other gave nothing.",
    ),
    "pack-low": Words(
        ("the pack was not charged", "more flights were flown on it than it holds"),
        "Charge it and note how much goes in.",
        "Charge before the next flight.",
    ),
    "regulator-droop": Words(
        (
            "the regulator reached its current limit or grew too hot",
            "its input came too near to its output",
            "a switch or lead between pack and bus",
        ),
        "Load the bus on the bench at that current with full packs, and feel the regulator.",
        "Do not fly until the bus holds its voltage under that load.",
    ),
    "switch-step": Words(
        (
            "a switch, diode or plug between packs and bus changed its resistance",
            "the packs' currents are read by unlike sensors",
        ),
        "Move the switch and plugs under a steady load and watch the drop from pack to bus.",
        "Replace the switch or plug that shows it.",
    ),
    "servo-not-resting": Words(
        (
            "a servo that works against a stop or a stiff linkage",
            "a mixed trim that holds a surface out of neutral",
            "something else on that node was switched on",
        ),
        "Disconnect the linkages of that node one at a time and watch its current.",
        "Free the linkage or reset the end points before the next flight.",
    ),
    "current-balance": Words(
        ("a current sensor is off in gain or offset", "a node's current is counted twice"),
        "Compare total and nodes at a known load on the bench.",
        "Trust ratios between flights more than absolute currents until it is settled.",
    ),
    "capacity-mismatch": Words(
        (
            "a current sensor is off in gain or offset",
            "the log misses part of the time the counter saw",
            "peaks of the current between two readings",
        ),
        "Compare the charge that goes back in with both numbers.",
        "Plan flights by the larger of the two numbers until it is settled.",
    ),
    "sensor-offset": Words(
        ("the two voltage sensors differ", "a diode or switch lies between the two places"),
        "Compare both readings with one meter at no load.",
        "Nothing to repair; the offset is taken out of the resistances.",
    ),
    "log-too-thin": Words(
        (),
        "Log voltage and current of the bus and of every node, at the fastest rate on offer.",
        "Decide by inspection and by the stir: this log cannot help.",
    ),
}
