"""The standing text of the findings across flights."""

from __future__ import annotations

from telemetry.checks.words import Words

WORDS: dict[str, Words] = {
    "servo-current-rising": Words(
        (
            "a servo of that place that wears: gears, bearing, motor",
            "a linkage that grew stiff or was set against a stop",
            "a servo or horn that was changed without a note in the book",
            "the current sensor of that place, where the balance with the total changed as well",
        ),
        "Disconnect the linkages of that place one at a time, stir, and watch its current.",
        "Find the servo or linkage and put it right; note what was done, with the place.",
    ),
    "servo-silent": Words(
        (
            "a servo that failed, was unplugged, or lost its signal",
            "fewer servos or other servos fitted without a note in the book",
            "the current sensor of that place",
        ),
        "Move every surface of that place on the ground and look at each servo.",
        "See that every servo of that place moves its surface under load before the next flight.",
        "Do not fly until every servo of that place moves its surface under load.",
    ),
    "servo-heating": Words(
        (
            "a servo whose motor or driver fails as it warms",
            "a linkage that binds as the airframe warms or flexes in the air",
            "one-sided flying late in the flight",
        ),
        "Stir before the flight and at once after landing, and compare; feel each servo's case.",
        "Find the hot servo before the next flight; note what was done, with the place.",
    ),
    "branch-resistance-rising": Words(
        (
            "a worn or dirty connector, or broken strands in that lead",
            "a lead or plug that was changed without a note in the book",
            "the current sensor of that place, where the balance with the total changed as well",
        ),
        "With the system on and a steady load, move that plug and lead and look at the drop.",
        "Clean or replace the plug or lead, stir again, and note it with the place.",
    ),
    "contact-intermittent": Words(
        (
            "a contact that opens for moments: plug, switch, broken strands",
            "current peaks that fall between two readings of the current sensor",
        ),
        "With the system on and a steady load, move that plug and lead and watch the voltage.",
        "Clean or replace that plug and lead before the next flight, and note it.",
    ),
    "source-resistance-rising": Words(
        (
            "that pack ages",
            "resistance in that pack's plug, switch or lead",
            "cold packs, where every pack rose on the same days",
        ),
        "Measure the pack's resistance warm and at a known charge; swap the packs and compare.",
        "Replace the pack if its resistance moves with it; else clean its plug and lead.",
    ),
    "pack-weak": Words(
        (
            "that pack has lost capacity",
            "it was not charged in full, or carried more flights than usual",
            "cold",
        ),
        "Read each cell at rest; where none is below its floor, let a tester read the capacity.",
        "Fly fewer flights on a charge, or replace the pack.",
    ),
    "pack-share": Words(
        (
            "unequal charge, age or temperature of the packs",
            "resistance in one pack's plug, switch or lead",
            "a regulator whose set-point moved",
        ),
        "With both packs full and sound compare rest voltages, then stir and compare the shares.",
        "Find out which path changed before both packs are relied upon.",
    ),
    "pack-out": Words(
        (
            "that pack, its plug, switch or lead opened",
            "its protection switched it off",
            "its current sensor failed",
        ),
        "Switch the other pack off on the ground and see whether the bus stays up.",
        "Find why it gave nothing before both packs are relied upon; note what was done.",
        "Do not fly on one pack: find why the other gave nothing, and note what was done.",
    ),
    "supply-dips": Words(
        (
            "a switch, plug or regulator between packs and bus that gives way for moments",
            "packs too weak or cold for the peaks",
        ),
        "Load the bus on the bench with full, sound packs and move switch, plugs and leads.",
        "See on the bench that the bus holds its voltage under load; note what was done.",
        "Do not fly until the bus holds its voltage under load; note what was done.",
    ),
    "sensor-offset": Words(
        (
            "a voltage sensor that drifted, or was changed",
            "a diode or switch in between that changed its forward drop",
        ),
        "Compare both readings with one meter at no load.",
        "Nothing to repair if the meter agrees with neither; note the change.",
    ),
    "capacity-mismatch": Words(
        (
            "a current sensor that drifted",
            "a counter that is reset or scaled otherwise than before",
            "a log that misses part of the time the counter saw",
        ),
        "Compare the charge that goes back in with both numbers.",
        "Plan flights by the larger of the two numbers until it is settled.",
    ),
}
