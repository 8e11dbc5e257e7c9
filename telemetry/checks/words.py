"""The standing words of each finding: other explanations, what tells them apart, what to do."""

from __future__ import annotations

from typing import NamedTuple

from telemetry.results import Level


class Words(NamedTuple):
    """The standing text of a finding code; ``grounded`` is the advice at ground where it differs.

    No text tells to charge a pack of which the log does not know that it may be charged.
    """

    explanations: tuple[str, ...]
    confirm: str
    advice: str
    grounded: str = ""

    def advice_at(self, level: Level) -> str:
        """What to do at this level: only what grounds says not to fly."""
        return self.grounded if level is Level.GROUND and self.grounded else self.advice


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
        "Find out before the next flight whether the supply was lost or only its reading.",
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
        "Repeat the stir with full, warm and sound packs and compare; set restart_v from the data "
        "sheets.",
        "Fit packs that are full and sound, and shorten or thicken the path before the next "
        "flight.",
    ),
    "undervoltage": Words(
        (
            "packs that are weak, cold or near their end",
            "resistance in the path, or a regulator set low or in its limit",
            "servos that are made for less than the level in force",
        ),
        "Compare with the data sheet of the servos; repeat the stir with full, sound packs.",
        "Find out what pulls it down, the packs, the path or the load, before hard flying.",
        "Do not fly until the supply stays above that level under load.",
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
        "Compare the shares again with both packs full and sound.",
    ),
    "pack-out": Words(
        (
            "that pack, its plug, switch or lead opened",
            "that pack's protection switched it off",
            "its current sensor failed",
        ),
        "Switch the other pack off on the ground and see whether the bus stays up.",
        "Find out why it gave nothing before both packs are relied upon.",
        "Do not fly on one pack: find why the other gave nothing.",
    ),
    "pack-low": Words(
        ("the pack was not charged", "more flights were flown on it than it holds"),
        "Read the voltage of each cell at rest; if it may be charged, note how much goes in.",
        "Fly it next when it is full; a pack with a lithium cell that rests below its floor is "
        "not to be charged.",
    ),
    "regulator-droop": Words(
        (
            "the regulator reached its current limit or grew too hot",
            "its input came too near to its output",
            "a switch or lead between pack and bus",
        ),
        "Load the bus on the bench at that current with full, sound packs, and feel the regulator.",
        "See on the bench that the bus holds its voltage under that load before the next flight.",
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

# A pack below its floor under load: a low supply of its own kind.
PACK_UNDER = Words(
    (
        "it was flown nearly empty, or was not full at the start",
        "its cells are cold, aged or too small for this load",
        "its chemistry or cells are not those the review took",
    ),
    "Let it rest, unplugged, and read the voltage of each cell.",
    "Read its cells before the next flight; one with a lithium cell that rests below its floor is "
    "not to be charged.",
    "Do not fly with this pack. Let it rest and read each cell: one with a lithium cell that rests "
    "below its floor is not to be charged, but set aside where a fire can do no harm.",
)

# A lithium pack that rests below its floor: a low pack that may not be filled again.
RUN_DOWN = Words(
    (
        "more was drawn than it holds, or a load was left on it",
        "a cell that failed pulled the others down with it",
        "its voltage is read too low",
    ),
    "Measure each of its cells with a meter, the pack unplugged and at rest.",
    "Do not charge it. Set it aside where a fire can do no harm, and have it judged by someone who "
    "knows such cells.",
    "Do not charge it and do not fly with it. Set it aside where a fire can do no harm; retire it, "
    "or have it judged by someone who knows such cells.",
)
