"""The parts of a report that let a reader judge the report: quality, limits, method, cautions."""

from __future__ import annotations

from telemetry.aircraft import Aircraft, Limits
from telemetry.aircraft.limits import LimitSource, limit_words
from telemetry.model.text import plain
from telemetry.report.document import Block, Bullets, Cell, Paragraph, Section, Table
from telemetry.report.parts.tables import cells, columns
from telemetry.report.words import LEVEL_MEANING, LEVEL_WORD, NONE, clock, counted, lasting
from telemetry.results import ColumnUse, Level, Quality, Review

#: Stands before every bench step, wherever it is told.
BEFORE_BENCH = (
    "Before any step on the bench: motor or engine off and secured against starting (propeller "
    "clear or removed, ignition off, turbine shut down), aircraft restrained, people clear; unplug "
    "packs before working on wiring. Lithium packs can burn."
)
CAUTIONS = (
    "The review is advice from a log. It sees only what was logged, at the log's interval; a clean "
    "review is no proof of airworthiness and replaces no inspection.",
    "Decide by the rules of your national model-flying body, aviation authority, club and site, "
    "and by the data sheets of your equipment; have a large model inspected and signed off by the "
    "people those rules name.",
    "Before a stir or a bench test: motor or engine off and secured against starting (propeller "
    "clear or removed, ignition off, turbine shut down), aircraft restrained, people clear.",
    "Lithium packs can burn: never charge unattended or a swollen, hot or over-discharged pack.",
    "Unplug packs before working on wiring; a shorted pack can deliver hundreds of amperes.",
)
_SOURCES = {
    LimitSource.COMMON_PRACTICE: "common practice, no source; set it from the data sheet",
    LimitSource.OURS: "a default of this program",
}
_MOST_LISTED = 12


def quality_section(review: Review) -> Section:
    """What the log can and cannot show, and how each column was read."""
    return Section(
        title="Data quality",
        anchor="quality",
        blocks=(Bullets(items=quality_words(review)), *_column_tables(review)),
    )


def quality_words(review: Review) -> tuple[str, ...]:
    """The quality of the log in sentences."""
    quality, origin = review.quality, review.log.provenance
    refused = f"; {origin.rows_refused} could not be kept" if origin.rows_refused else ""
    words = [f"{origin.rows} rows read{refused}."]
    if quality.row_s is not None:
        words.append(f"One row every {lasting(quality.row_s)}.")
    if quality.shortest_sure_dip_s is None:
        words.append("How short a voltage dip this log can show is not known.")
    else:
        words.append(
            f"A voltage dip is sure to show only if it lasts {lasting(quality.shortest_sure_dip_s)}"
            " or longer; a shorter one may be missed."
        )
    words += _holes(quality)
    if quality.balance_a is not None:
        spread = quality.balance_spread_a
        beside = "" if spread is None else f", spread {spread:.2f} A"
        words.append(
            f"Total current minus the sum of the nodes: {quality.balance_a:.2f} A{beside} "
            "(the main unit's own draw, if positive and steady)."
        )
    words += _by_readings(review.aircraft)
    words += [plain(n) for n in (*quality.notes, *origin.notes)]
    return tuple(words)


def _by_readings(aircraft: Aircraft) -> list[str]:
    """Which places were taken for bus or packs by what they read."""
    found = [
        f"{plain(p)} for {'the bus' if p == aircraft.bus else 'a pack'}"
        for p in aircraft.by_readings
    ]
    if not found:
        return []
    return [
        f"No name tells which place feeds the others. Taken by voltages and currents: "
        f"{', '.join(found)}. Check that; where it is wrong, name the columns with --set or list "
        "the places in a profile."
    ]


def _listed(items: list[str]) -> str:
    more = len(items) - _MOST_LISTED
    return "; ".join(items[:_MOST_LISTED]) + (f"; {more} more" if more > 0 else "")


def _holes(quality: Quality) -> list[str]:
    words = []
    gaps = [f"{clock(g.start_s)} for {lasting(g.duration_s)}" for g in quality.gaps]
    words.append(
        f"{counted(len(gaps), 'gap').capitalize()} in the rows"
        + (f": {_listed(gaps)}." if gaps else ".")
    )
    if quality.restarts:
        seen = [
            f"{clock(r.time_s)} {plain(r.place or 'file')} ('{plain(r.column)}' fell from "
            f"{r.before:g} to {r.after:g})"
            for r in quality.restarts
        ]
        words.append(f"{counted(len(seen), 'restart').capitalize()} or reset: {_listed(seen)}.")
    if quality.dropouts:
        seen = [
            f"{clock(d.start_s)} {plain(d.place or 'all places')} {plain(d.kind)} for "
            f"{lasting(d.duration_s)}"
            for d in quality.dropouts
        ]
        words.append(f"Telemetry lost {counted(len(seen), 'time')}: {_listed(seen)}.")
    if quality.spurious:
        seen = [
            f"{clock(s.time_s)} '{plain(s.column)}' {s.value:g} ({plain(s.reason)})"
            for s in quality.spurious
        ]
        what = counted(len(seen), "single reading")
        words.append(f"{what.capitalize()} set aside before judging: {_listed(seen)}.")
    return words


def _column_tables(review: Review) -> list[Block]:
    if not review.columns:
        return [Paragraph(text="No column of the file could be used.")]
    table = Table(
        caption="The columns as they were read",
        columns=columns(
            "Column in the file", "Read as", "Unit", ">Update", ">Step", "Used", "~Why"
        ),
        rows=tuple(_column_row(c) for c in review.columns),
        note="Update: how often the column brings news. Step: its resolution. A reading that is "
        "wrong can be set by hand; busbook columns shows how.",
        brief=False,
    )
    return [table]


def _column_row(column: ColumnUse) -> tuple[Cell, ...]:
    what = plain(column.quantity)
    read = f"{plain(column.place)} {what}" if column.place else what
    return cells(
        plain(column.column),
        read,
        plain(column.unit),
        NONE if column.update_s is None else lasting(column.update_s),
        NONE if column.resolution is None else f"{column.resolution:g}",
        "yes" if column.used else "kept, not used",
        plain(column.reason),
    )


def limits_section(aircraft: Aircraft, limits: Limits) -> Section:
    """Every limit in force, where it comes from, and the power path as it was taken."""
    rows = tuple(_limit_row(aircraft, limits, name) for name in Limits.model_fields)
    table = Table(
        caption="The limits in force",
        columns=columns("Limit", ">Value", "Source"),
        rows=rows,
        note="The aircraft's profile overrides any of them.",
    )
    return Section(title="Limits in force", anchor="limits", blocks=(*_path(aircraft), table))


def _limit_row(aircraft: Aircraft, limits: Limits, key: str) -> tuple[Cell, ...]:
    words, default = limit_words(key), Limits.model_fields[key].default
    source = _SOURCES.get(words.source, words.source.value)
    value = getattr(limits, key)
    if getattr(aircraft.limits, key) != default:
        source = "the aircraft's profile"
    elif value != default:
        source = f"{source}; chosen for this log"
    shown = "not set" if value is None else f"{value:g}"
    what = words.what
    name = f"... {what}" if words.goes_on else f"{what[0].upper()}{what[1:]}"
    return cells(name, shown, source)


def _path(aircraft: Aircraft) -> list[Block]:
    rows = [
        cells(
            plain(p.name),
            "-",
            ", ".join(
                w
                for w in (
                    p.chemistry or "chemistry not given",
                    f"{p.cells} cells" if p.cells else "cells not given",
                    f"{p.capacity_mah:.0f} mAh" if p.capacity_mah else "capacity not given",
                    plain(p.role),
                )
            ),
        )
        for p in aircraft.packs
    ]
    rows += [
        cells(
            plain(n.name),
            plain(n.fed_from or NONE),
            counted(n.servos, "servo") if n.servos else "servos not given",
        )
        for n in aircraft.nodes
    ]
    if not rows:
        return []
    if aircraft.inferred:
        how = "Read from the log's columns alone; a profile of the aircraft would say more."
    else:
        how = "From the aircraft's profile" + (
            f"; from the log's columns, for the profile does not list them: {added}."
            if (added := ", ".join(map(plain, aircraft.added)))
            else "."
        )
    return [
        Table(
            caption="The power path as taken",
            columns=columns("Place", "Fed from", "What is known"),
            rows=tuple(rows),
            note=how,
        )
    ]


def method_section(review: Review) -> Section:
    """How the numbers were made, in a few sentences, and what the levels mean."""
    limits, origin = review.limits, review.log.provenance
    items = (
        "Times are minutes and seconds of the recording, counted from its first row.",
        f"A sag begins where a voltage falls {limits.sag_pct:g} % and at least {limits.sag_v:g} V "
        f"below its reference and ends {limits.sag_hysteresis_pct:g} % higher (event definition "
        "after IEC 61000-4-30, on sampled values). One that stays open for "
        f"{limits.sag_open_s:g} s is a level shift.",
        "How much of a sag the load explains is the resistance times the step of current, with a "
        "resistance that was measured outside the sag.",
        "A resistance stands with its 95 % interval and is refused where the current hardly moved.",
        f"A spike is a current {limits.spike_mads:g} scaled median deviations and at least "
        f"{limits.spike_a:g} A above its median over {limits.spike_window_s:g} s.",
        "In the figures each column of the picture keeps its lowest and its highest reading, so "
        "that no dip is drawn away.",
        f"Read from {plain(origin.file)}: {plain(origin.encoding)}, separator "
        f"{_separator_word(origin.separator)}, decimal '{plain(origin.decimal)}', "
        f"{plain(origin.layout)} layout; time: {plain(origin.time_form) or 'not stated'}. "
        f"SHA-256 {origin.sha256}.",
    )
    return Section(title="Method", anchor="method", blocks=(Bullets(items=items), levels_table()))


def levels_table() -> Table:
    """What the levels mean, the worst first."""
    return Table(
        caption="What the levels mean",
        columns=columns("Level", "Meaning"),
        rows=tuple(
            cells(LEVEL_WORD[level], LEVEL_MEANING[level])
            for level in sorted(Level, key=lambda v: -v.rank)
        ),
    )


def _separator_word(separator: str) -> str:
    words = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blank"}
    return words.get(separator, f"'{plain(separator)}'")


def cautions_section() -> Section:
    """What every report carries."""
    return Section(title="Cautions", anchor="cautions", blocks=(Bullets(items=CAUTIONS),))
