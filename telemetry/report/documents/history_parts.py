"""The parts of a history's report below the findings: places, packs, flights, notes."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from telemetry.checks.aircraft_history import false_alarm
from telemetry.model.channels import PlaceKind
from telemetry.model.text import plain
from telemetry.report.document import Block, Bullets, Cell, FigureBlock, Section, Table
from telemetry.report.documents.across import (
    STEP,
    Across,
    finite,
    flights_on_a_charge,
    side_by_side,
)
from telemetry.report.documents.history_figures import (
    of_features,
    of_lows,
    of_sides,
    of_trend,
)
from telemetry.report.parts.method import levels_table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import LEVEL_WORD, NONE, clock, code_words, counted, number
from telemetry.results import Feature, Fleet, Level, Trend

_VOLTS = ("idle_v", "lowest_stir_v", "lowest_flight_v")
_AMPS = ("rest_a", "stir_mean_a", "air_mean_a")
_MOHM = ("source_mohm", "branch_mohm", "path_mohm", "apparent_mohm")
_SERVO_CODES = ("servo-current-rising", "servo-silent")
_LEAD_CODES = ("branch-resistance-rising", "source-resistance-rising")
_MOHM_WORD = {
    "source_mohm": "source",
    "branch_mohm": "lead and contacts",
    "path_mohm": "pack to bus",
    "apparent_mohm": "apparent, against total current",
}


def voltages_section(across: Across) -> Section | None:
    """Voltages of every place side by side: idle, lowest in the stir, lowest in flight."""
    places = across.places(*_VOLTS)
    if not places:
        return None
    rows = tuple(
        cells(plain(p), *_first_and_last(across, p, _VOLTS, "V"), _lowest(across, p))
        for p in places
    )
    table = Table(
        caption="Voltages: median of all flights, and the last one",
        columns=columns(
            "Place",
            ">Idle V",
            ">last",
            ">Stir low V",
            ">last",
            ">Flight low V",
            ">last",
            "~Lowest of all",
        ),
        rows=rows,
        note="A place that sinks below its mirror and its feed from flight to flight has a lead or "
        "contact that goes bad; all places that sink together have a source that does.",
    )
    together = [f for f in (of_lows(across), of_sides(across)) if f is not None]
    pairs, rest = side_by_side(places, across.history.aircraft)
    return Section(
        title="Voltages across flights",
        anchor="voltages",
        blocks=(table, *together, *_figures(across, "volts", [*pairs, *rest])),
    )


def _figures(across: Across, name: str, places: Sequence[str]) -> list[FigureBlock]:
    return [f for p in places if (f := of_features(across, name, p)) is not None]


def _grid(
    across: Across, places: Sequence[str], codes: Sequence[str], name: str
) -> list[FigureBlock]:
    """Trends and features of places: pairs beside one another, of the others each beside each."""
    trends = across.history.trends

    def judged(place: str) -> list[FigureBlock]:
        found = [k for k, t in enumerate(trends) if t.place == place and t.code in codes]
        return [of_trend(across, k) for k in found]

    pairs, rest = side_by_side(places, across.history.aircraft)
    out: list[FigureBlock] = []
    for k in range(0, len(pairs), 2):
        both = pairs[k : k + 2]
        out += [f for p in both for f in judged(p)] + _figures(across, name, both)
    # A place with two figures fills a row; those with one come last.
    for row in sorted(
        (judged(p) + _figures(across, name, [p]) for p in rest), key=len, reverse=True
    ):
        out += row
    return out


def _first_and_last(
    across: Across, place: str, features: Sequence[str], unit: str
) -> tuple[str, ...]:
    out = []
    for feature in features:
        known = across.known(place, feature)
        last = across.values(place, feature)[-1]
        out.append(_bare(median(v for _, v in known), unit) if known else NONE)
        out.append(_bare(last, unit))
    return tuple(out)


def _bare(value: float | None, unit: str) -> str:
    return NONE if value is None else number(value, STEP.get(unit, 0.01))


def _lowest(across: Across, place: str) -> str:
    known = [(v, n) for f in _VOLTS for n, v in across.known(place, f)]
    if not known:
        return NONE
    value, n = min(known)
    return f"{number(value, 0.01)} V in No. {n}"


def currents_section(across: Across) -> Section | None:
    """Current of every place that drives servos, and what was judged of it."""
    judged = [found for code in _SERVO_CODES for found in across.trends(code)]
    measured = across.places("stir_mean_a", "air_mean_a")
    kind = across.history.aircraft.kind
    nodes = [p for p in measured if kind(p) in (PlaceKind.NODE, PlaceKind.RECEIVER)]
    told = dict.fromkeys(t.place for _, t in judged)
    loads = list(across.in_order([*told, *nodes])) or list(measured)
    if not loads:
        return None
    rows = tuple(
        cells(
            plain(p),
            *_first_and_last(across, p, _AMPS, "A"),
            *_judged_cells([t for _, t in judged if t.place == p]),
        )
        for p in loads
    )
    table = Table(
        caption="Currents: median of all flights, and the last one",
        columns=columns(
            "Place",
            ">Rest A",
            ">last",
            ">Stir A",
            ">last",
            ">Flight A",
            ">last",
            (
                "~>Rise, %",
                "Rise: against mirror or other places and the baseline, per average servo share "
                "(the rise of the place times its servos), with its 95 % interval: a pilot stirs "
                "faster one day than another, and all places show that alike.",
            ),
            "~Since",
        ),
        rows=rows,
    )
    blocks: list[Block] = [table, *_grid(across, loads, _SERVO_CODES, "amps")]
    pairs, _ = side_by_side(loads, across.history.aircraft)
    # Of two mirrors one ratio tells all: the other is its inverse.
    blocks += _figures(across, "mirror", pairs[::2])
    blocks += [
        of_trend(across, k) for k, t in across.trends("servo-heating") if t.since is not None
    ]
    return Section(title="Servo currents", anchor="currents", blocks=tuple(blocks))


def _judged_cells(trends: Sequence[Trend]) -> tuple[str, str]:
    for trend in trends:
        value = finite(trend.value[-1]) if trend.value else None
        if value is not None:
            low, high = value - trend.reach[-1], value + trend.reach[-1]
            shown = f"{value:.0f} ({low:.0f} to {high:.0f})"
            return shown, NONE if trend.since is None else f"No. {trend.since + 1}"
    return NONE, NONE


def leads_section(across: Across) -> Section | None:
    """Resistances of leads, paths and sources with their intervals."""
    places = across.places(*_MOHM)
    if not places:
        return None
    rows = tuple(
        cells(plain(p), _MOHM_WORD[f], *_resistance_cells(across, p, f))
        for p in places
        for f in _MOHM
        if across.known(p, f)
    )
    table = Table(
        caption="Resistances: median of all flights, and the last measured",
        columns=columns("Place", "Of", ">Median mOhm", ">Last mOhm", "95 % interval", ">No."),
        rows=rows,
        note="Resistances depend on how long after a step of current they are read: compare "
        "flights with the same telemetry, temperature and charge.",
    )
    changed = [k for k, t in across.trends("sensor-offset") if t.since is not None]
    blocks: list[Block] = [table, *_grid(across, places, _LEAD_CODES, "mohm")]
    blocks += [of_trend(across, k) for k in changed]
    return Section(title="Leads, contacts and sources", anchor="leads", blocks=tuple(blocks))


def _resistance_cells(across: Across, place: str, feature: str) -> tuple[str, str, str, str]:
    row: list[tuple[int, Feature]] = [
        (n, f)
        for n, f in enumerate(across.row(place, feature), 1)
        if f is not None and finite(f.value) is not None
    ]
    n, last = row[-1]
    middle = median(f.value for _, f in row if f.value is not None)
    between = NONE
    if last.low is not None and last.high is not None:
        between = f"{number(last.low, 0.1)} to {number(last.high, 0.1)}"
    return number(middle, 0.1), number(last.value, 0.1), between, str(n)


def packs_section(across: Across) -> Section | None:
    """Charge used, voltages before and after, shares, flights since the last charge noted."""
    packs = across.packs
    if not packs:
        return None
    sizes = {p.name: p.capacity_mah for p in across.history.aircraft.packs}
    reserve = across.history.aircraft.limits.reserve_pct
    rows = tuple(_pack_row(across, p, sizes.get(p), reserve) for p in packs)
    table = Table(
        caption="Packs: charge and flights on a charge",
        columns=columns(
            "Pack",
            ">Capacity mAh",
            ">Median mAh",
            ">Most mAh",
            ">Flights fit",
            ">Since charge",
            ">mAh since",
        ),
        rows=rows,
        note=f"Flights fit: whole flights like the thirstiest on a full pack, {reserve:.0f} % kept "
        "in reserve. Since charge: flights since the last note of kind charged.",
    )
    blocks: list[Block] = [table]
    for name, places in (("use", packs[:1]), ("share", packs[:1]), ("ends", packs)):
        if name == "share" and len(packs) < 2:
            continue
        blocks += [f for p in places if (f := of_features(across, name, p)) is not None]
    return Section(title="Packs", anchor="packs", blocks=tuple(blocks))


def _pack_row(
    across: Across, pack: str, capacity_mah: float | None, reserve_pct: float
) -> tuple[Cell, ...]:
    used = across.known(pack, "used_mah")
    values = [v for _, v in used]
    fit = NONE
    if capacity_mah is not None and max(values) > 0:
        fit = str(flights_on_a_charge(capacity_mah, reserve_pct, max(values)))
    craft = across.history.aircraft
    charged = [n for n in across.history.notes if n.kind == "charged" and n.concerns(pack, craft)]
    since = [v for n, v in used if n > charged[-1].before] if charged else None
    return cells(
        plain(pack),
        NONE if capacity_mah is None else f"{capacity_mah:.0f}",
        number(median(values), 1.0),
        number(max(values), 1.0),
        fit,
        NONE if since is None else str(len(since)),
        NONE if since is None else number(sum(since), 1.0),
    )


def flights_section(across: Across) -> Section:
    """All flights, the newest first; each opens its own report where there is one."""
    lows = [(across.values(p, f), p) for f in _VOLTS[1:] for p in across.places(f)]
    charges = [across.values(p, "used_mah") for p in across.packs]
    rows = []
    for n in range(len(across.history.flights), 0, -1):
        flight = across.history.flights[n - 1]
        found = [(v, p) for values, p in lows if (v := values[n - 1]) is not None]
        low = min(found, default=None)
        used = [v for values in charges if (v := values[n - 1]) is not None]
        start = "no date" if flight.start is None else flight.start[:16].replace("T", " ")
        air = "bench" if flight.kind == "bench" else clock(flight.flight_s or 0.0)
        rows.append(
            (
                *cells(str(n), start, air),
                *cells(
                    NONE if low is None else number(low[0], 0.01),
                    NONE if low is None else plain(low[1]),
                    number(sum(used), 1.0) if used else NONE,
                    NONE if flight.verdict is None else LEVEL_WORD[flight.verdict].lower(),
                ),
                Cell(text=plain(flight.file), href=across.links.get(flight.id)),
            )
        )
    note = (
        "Lowest in stir and flight, and where. mAh: of all packs. Review: what each recording "
        "says by itself."
    )
    if across.links:
        note += " A file's name opens the review of that flight."
    else:
        note += " To open one: busbook review with the flight's id, which busbook flights lists."
    table = Table(
        caption="The flights, the newest first",
        columns=columns("No.", "Start", ">In air", ">Low V", "Where", ">mAh", "Review", "File"),
        rows=tuple(rows),
        note=note,
    )
    return Section(title="Flights", anchor="flights", blocks=(table,))


def fleet_words(fleet: Fleet) -> str:
    """What other aircraft told of the scatter, and for how much that counts."""
    worth = sorted(round(f.flights) for f in fleet.features)
    span = f"{worth[0]} to {worth[-1]}" if worth[0] < worth[-1] else f"{worth[0]}"
    return (
        f"How far its measures scatter from flight to flight was taken beforehand from "
        f"{counted(fleet.flights, 'flight')} of aircraft that were in the book before it "
        f"({', '.join(plain(name) for name in fleet.aircraft)}). That counts for {span} flights, "
        f"the more the more alike they are, and its own flights for one each (moderated variances: "
        f"G. K. Smyth, Statistical Applications in Genetics and Molecular Biology 3, 2004)."
    )


def judged_section(across: Across) -> Section:
    """Everything that was judged with how near it is to telling, and what could not be judged."""
    rows = tuple(_trend_row(t) for t in across.history.trends)
    table = Table(
        caption="All that was judged",
        columns=columns("What", "Place", ">Flights", ">Rise now", "+/-", ">Watch", ">Evidence"),
        rows=rows,
        note="Evidence: how surely the flights since the likeliest change lie above those before, "
        "against the limit of a lasting change; 100 % and over is one. Its finding follows where "
        "the rise reaches the limit of the profile as well.",
        brief=False,
    )
    (watch, watch_long), (ground, ground_long) = (
        [false_alarm(level, flights) for flights in (100, 500)]
        for level in (Level.WATCH, Level.GROUND)
    )
    words = [
        "Each place is compared with its mirror or with the other places first: what moves all of "
        "them alike (a cold day, hard flying, slower telemetry) is nobody's fault.",
        "A baseline begins with the first flight, and anew after every note of kind repaired or "
        "changed, at its place alone. It is judged from the third flight on.",
        "A finding opens with the first flight that shows it, by its own review or together with "
        "those before it, and stays as grave as it was until a note at its place closes it or "
        "later flights show it gone: three, of what comes and goes five, that would have shown it, "
        "with as much load. What one flight alone said to watch, the next such flight closes.",
        "A pack or supply that was lost, a servo that fell silent and a contact that opened in "
        "flight stay open until a note at their place. A note of kind checked accepts what is "
        "seen until it is a step worse; it never closes a lost pack or supply.",
        "Scores of all features of one place are put together, and the flights since every "
        "possible change are held against those before it (change-point model: D. M. Hawkins, "
        "P. Qiu, C. W. Kang, Journal of Quality Technology 35, 2003); slopes are Theil-Sen with "
        "Mann-Kendall's test.",
        "All places and kinds of fault together bring a false finding at watch in "
        f"{100 * watch:.0f} % of healthy books of 100 flights and {100 * watch_long:.0f} % of 500, "
        f"at ground in {100 * ground:.1f} and {100 * ground_long:.1f} %.",
    ]
    if across.history.fleet is not None:
        words.insert(2, fleet_words(across.history.fleet))
    blocks: list[Block] = [Bullets(items=tuple(words))]
    if rows:
        blocks.append(table)
    blocks.append(levels_table())
    return Section(title="How it was judged", anchor="method", blocks=tuple(blocks))


def _trend_row(trend: Trend) -> tuple[Cell, ...]:
    step = STEP.get(trend.unit, 0.01)
    value = finite(trend.value[-1]) if trend.value else None
    reach = finite(trend.reach[-1]) if trend.reach else None
    unit = f" {trend.unit}" if trend.unit else ""
    share = trend.chart[-1] / trend.limit if trend.chart else 0.0
    return cells(
        code_words(trend.code),
        plain(trend.place),
        str(len(trend.flights)),
        NONE if value is None else f"{number(value, step)}{unit}",
        NONE if reach is None else number(reach, step),
        NONE if trend.watch is None else f"{trend.watch:g}{unit}",
        f"{100 * share:.0f} %",
    )
