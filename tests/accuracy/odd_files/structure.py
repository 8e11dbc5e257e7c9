"""Odd tables: headers, preambles, separators, quotes, blocks, orders, files in parts."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from tests.accuracy.odd_files.draft import Draft, junk, place_words, titled
from tests.accuracy.odd_files.kinds import kind
from tests.accuracy.odd_files.words import words_of


def _separator(sep: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        d.sep = sep

    return apply


for _name, _sep in (("semicolon", ";"), ("tab", "\t"), ("pipe", "|"), ("comma-blank", ", "),
                    ("semicolon-blank", "; "), ("blank-comma", " ,")):  # fmt: skip
    kind("structure", f"separator-{_name}", alone=_name == "blank-comma")(_separator(_sep))


@kind("structure", "separator-blanks", alone=True)
def separator_blanks(d: Draft) -> None:
    d.header = [[h.replace(" ", "_") for h in d.header[0]]]
    d.sep = "  "
    d.rows = [[c or "-" for c in row] for row in d.rows]


@kind("structure", "separator-declared")
def separator_declared(d: Draft) -> None:
    d.sep = ";"
    d.before = ["sep=;"]


# Quotes.
@kind("structure", "quotes-all")
def quotes_all(d: Draft) -> None:
    d.quote = lambda x: f'"{x}"'


@kind("structure", "quotes-single", alone=True)
def quotes_single(d: Draft) -> None:
    d.quote = lambda x: f"'{x}'"


@kind("structure", "quotes-single-header", alone=True)
def quotes_single_header(d: Draft) -> None:
    d.header = [[f"'{h}'" for h in d.header[0]]]


@kind("structure", "quotes-header-only")
def quotes_header_only(d: Draft) -> None:
    d.header = [["\0" + h + "\0" for h in d.header[0]]]
    d.edits.append(lambda text: text.replace('"', '""').replace("\0", '"'))


@kind("structure", "quote-stray-header", alone=True)
def quote_stray_header(d: Draft) -> None:
    """A quotation mark in one header cell that none closes."""
    k = int(d.rng.integers(1, len(d.header[0])))
    d.header[0][k] += "\0"
    d.edits.append(lambda text: text.replace("\0", '"'))


@kind("structure", "quote-stray-header-start", alone=True)
def quote_stray_header_start(d: Draft) -> None:
    k = int(d.rng.integers(1, len(d.header[0])))
    d.header[0][k] = "\0" + d.header[0][k]
    d.edits.append(lambda text: text.replace("\0", '"'))


@kind("structure", "quote-stray-cell", alone=True)
def quote_stray_cell(d: Draft) -> None:
    row = int(d.rng.integers(10, len(d.rows) - 10))
    d.rows[row][int(d.rng.integers(1, len(d.rows[row])))] += "\0"
    d.edits.append(lambda text: text.replace("\0", '"'))
    d.lenient = {row}
    for c in d.data():
        c.values[row] = np.nan


@kind("structure", "quotes-rows")
def quotes_rows(d: Draft) -> None:
    """The whole line stands in quotation marks."""
    d.edits.append(
        lambda text: "".join(f'"{line}"\n' if line else "\n" for line in text.splitlines())
    )


# Header cells.
def _breaks(count: int | None) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        cells = d.header[0]
        some = range(len(cells)) if count is None else sorted(
            d.rng.choice(len(cells), min(count, len(cells)), replace=False))  # fmt: skip
        for k in some:
            cells[k] = re.sub(" (?=[^ ]*$)", "\n", cells[k])

    return apply


kind("structure", "header-line-breaks-two")(_breaks(2))
kind("structure", "header-line-breaks-all")(_breaks(None))


@kind("structure", "header-line-breaks-double")
def header_breaks_double(d: Draft) -> None:
    d.header = [[h.replace(" ", "\n") for h in d.header[0]]]


@kind("structure", "header-short-last")
def header_short_last(d: Draft) -> None:
    """The last column has no name."""
    del d.header[0][-1]
    d.columns[-1].knowable = False
    d.expects = "either"


@kind("structure", "header-short-middle", alone=True)
def header_short_middle(d: Draft) -> None:
    """One name is missing in the middle: every later name stands one column too early."""
    k = int(d.rng.integers(2, len(d.header[0]) - 2))
    del d.header[0][k]
    d.columns[k].knowable = False
    d.expects = "either"


@kind("structure", "header-long-end")
def header_long_end(d: Draft) -> None:
    """A name too much at the end, of a column that is never written."""
    d.header[0].append("remarks")
    d.expects = "either"


@kind("structure", "header-long-middle", alone=True)
def header_long_middle(d: Draft) -> None:
    """A name too much in the middle: a column that is never written."""
    k = int(d.rng.integers(2, len(d.header[0]) - 1))
    d.header[0].insert(k, "spare current [A]" if "current" not in d.header[0][k] else "spare")
    d.expects = "either"


@kind("structure", "header-trailing-separator")
def header_trailing(d: Draft) -> None:
    d.header[0].append("")


@kind("structure", "rows-trailing-separator")
def rows_trailing(d: Draft) -> None:
    for row in d.rows:
        row.append("")


@kind("structure", "index-column-without-name")
def index_without_name(d: Draft) -> None:
    """Rows begin with a number of which the header knows nothing, as tables are saved."""
    d.columns.insert(0, junk("", [str(k) for k in range(len(d.rows))]))
    d.header[0].insert(0, "")
    for k, row in enumerate(d.rows):
        row.insert(0, str(k))


@kind("structure", "empty-columns")
def empty_columns(d: Draft) -> None:
    for k in sorted(d.rng.choice(np.arange(1, len(d.columns)), 2, replace=False), reverse=True):
        d.columns.insert(k, junk("spare", [""] * len(d.rows)))
        d.header[0].insert(k, "spare")
        for row in d.rows:
            row.insert(k, "")


def _duplicates(d: Draft) -> None:
    words = words_of("english")
    power = ("voltage", "current", "consumed", "temperature")
    d.header = [[titled(c, d.unit_style).replace(c.name, words[c.quantity]) if c.quantity in power
                 else titled(c, d.unit_style) for c in d.columns]]  # fmt: skip


@kind("structure", "duplicate-names-no-places", alone=True)
def duplicate_names(d: Draft) -> None:
    """Every voltage is called voltage: values differ, and the order alone tells the places."""
    _duplicates(d)
    d.expects = "either"


@kind("structure", "place-row", alone=True)
def place_row(d: Draft) -> None:
    """A row of places above the row of quantities."""
    words = words_of("english")
    _duplicates(d)
    d.header.insert(0, [place_words(c.place, words) if c.quantity in words and c.place else ""
                        for c in d.columns])  # fmt: skip


@kind("structure", "place-row-merged", alone=True)
def place_row_merged(d: Draft) -> None:
    """As in a sheet with merged cells: the place stands above its first column only."""
    place_row(d)
    row, last = d.header[0], ""
    for k, place in enumerate(row):
        row[k] = "" if place == last else place
        last = place


@kind("structure", "unit-row")
def unit_row(d: Draft) -> None:
    d.header = [
        [c.name for c in d.columns],
        [c.printed_unit if c.shows_unit else "" for c in d.columns],
    ]


@kind("structure", "unit-row-brackets")
def unit_row_brackets(d: Draft) -> None:
    d.header = [[c.name for c in d.columns],
                [f"[{c.printed_unit or '-'}]" for c in d.columns]]  # fmt: skip


@kind("structure", "place-name-unit-rows", alone=True)
def three_rows(d: Draft) -> None:
    place_row(d)
    words = words_of("english")
    power = ("voltage", "current", "consumed", "temperature")
    d.header[1] = [words[c.quantity] if c.quantity in power else c.name for c in d.columns]
    d.header.append([c.printed_unit if c.shows_unit else "" for c in d.columns])


@kind("structure", "type-row")
def type_row(d: Draft) -> None:
    d.header.append(["float"] * len(d.columns))


@kind("structure", "number-row")
def number_row(d: Draft) -> None:
    """Columns are numbered in a row above their names."""
    d.header.insert(0, [str(k) for k in range(1, len(d.columns) + 1)])


@kind("structure", "description-row")
def description_row(d: Draft) -> None:
    d.header.append([f"value of column {k}, as measured" for k in range(1, len(d.columns) + 1)])


@kind("structure", "header-comment")
def header_comment(d: Draft) -> None:
    d.header[0][0] = "# " + d.header[0][0]


# Rows before, between and after.
@kind("structure", "preamble-keys")
def preamble_keys(d: Draft) -> None:
    d.before = [f"Aircraft{d.sep}invented", f"Battery{d.sep}2 x 3300", f"Rate{d.sep}10 Hz", ""]


@kind("structure", "preamble-prose")
def preamble_prose(d: Draft) -> None:
    d.before = ["Telemetry of the day, invented", "written at the field; see notes, page 4",
                "-----"]  # fmt: skip


@kind("structure", "preamble-table", alone=True)
def preamble_table(d: Draft) -> None:
    """A small table of settings stands before the log."""
    s = d.sep
    d.before = [f"Limit{s}low{s}high", f"pack{s}6.6{s}8.4", f"bus{s}5.5{s}8.4", ""]


@kind("structure", "preamble-hash")
def preamble_hash(d: Draft) -> None:
    d.before = ["# invented", "# format 3", "# columns follow"]


@kind("structure", "text-line-after-header")
def text_line_after_header(d: Draft) -> None:
    d.between = ["recording started"]


@kind("structure", "blank-after-header")
def blank_after_header(d: Draft) -> None:
    d.between = ["", ""]


@kind("structure", "bare-separators-after-header")
def bare_separators(d: Draft) -> None:
    d.between = [d.sep * (len(d.columns) - 1)] * 2


@kind("structure", "dashes-after-header")
def dashes_after_header(d: Draft) -> None:
    d.between = [d.sep.join("-" * 6 for _ in d.columns)]


def _sparse(rows: int) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        for k in range(rows):
            for i, c in enumerate(d.columns):
                if c.quantity not in ("time", "junk") and d.rng.random() < 0.85:
                    d.rows[k][i] = ""
                    c.values[k] = np.nan

    return apply


kind("structure", "sparse-first-row")(_sparse(1))
kind("structure", "sparse-first-rows")(_sparse(8))


@kind("structure", "time-only-first-rows")
def time_only_first(d: Draft) -> None:
    for k in range(3):
        for i, c in enumerate(d.columns):
            if c.quantity not in ("time", "junk"):
                d.rows[k][i] = ""
                c.values[k] = np.nan


@kind("structure", "footer-totals")
def footer_totals(d: Draft) -> None:
    d.after = ["", f"Total{d.sep}{len(d.rows)} rows", "end of recording"]


@kind("structure", "footer-statistics")
def footer_statistics(d: Draft) -> None:
    """Lowest and highest of each column stand below, in the columns."""
    for word in ("min", "max"):
        d.after.append(d.line([word, *("1" for _ in d.columns[1:])]))


@kind("structure", "comment-lines-between")
def comments_between(d: Draft) -> None:
    for k in d.rng.choice(np.arange(5, len(d.rows)), 4, replace=False):
        d.inserts[int(k)] = ["# mark by the pilot"]


@kind("structure", "blank-lines-between")
def blanks_between(d: Draft) -> None:
    for k in d.rng.choice(np.arange(5, len(d.rows)), 10, replace=False):
        d.inserts[int(k)] = [""]


@kind("structure", "message-lines-between")
def messages_between(d: Draft) -> None:
    for k in d.rng.choice(np.arange(5, len(d.rows)), 4, replace=False):
        d.inserts[int(k)] = [f"link restored after {k} ms"]


def _repeated(every: int, before: tuple[str, ...] = ()) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        for k in range(every, len(d.rows), every):
            d.inserts[k] = [*before, d.line(d.header[0])]

    return apply


kind("structure", "header-every-100")(_repeated(100))
kind("structure", "header-every-250")(_repeated(250))
kind("structure", "header-every-250-blank")(_repeated(250, ("",)))


@kind("structure", "header-twice")
def header_twice(d: Draft) -> None:
    d.header.append(list(d.header[0]))


@kind("structure", "second-block-wider", alone=True)
def second_block(d: Draft) -> None:
    """From the middle on one column more is written, under a header of its own."""
    half = len(d.rows) // 2
    head = d.line([*d.header[0], "servo count"])
    d.inserts[half] = ["", head]
    for row in d.rows[half:]:
        row.append("12")


@kind("structure", "second-block-order", alone=True)
def second_block_order(d: Draft) -> None:
    """From the middle on the same columns stand in another order."""
    half = len(d.rows) // 2
    order = [0, *d.rng.permutation(np.arange(1, len(d.columns)))]
    d.inserts[half] = ["", d.line([d.header[0][i] for i in order])]
    for k in range(half, len(d.rows)):
        d.rows[k] = [d.rows[k][i] for i in order]


@kind("structure", "reversed-rows", alone=True)
def reversed_rows(d: Draft) -> None:
    d.rows = d.rows[::-1]


@kind("structure", "rows-out-of-order", alone=True)
def out_of_order(d: Draft) -> None:
    for k in d.rng.choice(np.arange(5, len(d.rows) - 5), 6, replace=False):
        d.rows[k], d.rows[k + 1] = d.rows[k + 1], d.rows[k]


@kind("structure", "rows-twice", alone=True)
def rows_twice(d: Draft) -> None:
    """Every tenth row is written twice."""
    for k in range(len(d.rows) - 2, 0, -10):
        d.rows.insert(k, list(d.rows[k]))
    d.time_tolerance_s += d.flight.interval_s  # where the second one belongs is open


@kind("structure", "rows-cut")
def rows_cut(d: Draft) -> None:
    """Some rows end early."""
    for k in d.rng.choice(np.arange(5, len(d.rows)), 5, replace=False):
        keep = int(d.rng.integers(2, len(d.columns)))
        d.rows[k] = d.rows[k][:keep]
        d.lenient.add(int(k))
        for c in d.columns[keep - 1 :]:
            c.values[k] = np.nan


@kind("structure", "last-line-cut")
def last_line_cut(d: Draft) -> None:
    d.edits.append(lambda text: text[: -int(len(text.splitlines()[-1]) * 0.6)])
    d.lenient.add(len(d.rows) - 1)
    for c in d.data():
        c.values[-1] = np.nan


@kind("structure", "header-missing", alone=True)
def header_missing(d: Draft) -> None:
    """No header: nobody can know which number is which, though not all must stay unsaid."""
    d.header = []
    d.expects = "asked"


# Long tables.
def _long(order: tuple[str, ...], *, unit: bool, header: bool = True) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        words = words_of("english")
        times = d.columns[0]
        lines = []
        for k in range(len(d.rows)):
            for i, c in enumerate(d.columns[1:], 1):
                if not d.rows[k][i]:
                    continue
                place = (
                    place_words(c.place, words) if c.place and c.quantity in words else "aircraft"
                )
                quantity = words.get(c.quantity, c.name)
                if c.quantity == "control":
                    place, quantity = "control", words[c.place]
                cell = {"time": times.cells[k], "sensor": place, "name": quantity,
                        "both": c.name, "value": d.rows[k][i], "unit": c.printed_unit}  # fmt: skip
                lines.append([cell[o] for o in order] + ([cell["unit"]] if unit else []))
        d.header = [[*order, *(["unit"] if unit else [])]] if header else []
        d.header = [["name" if h == "both" else h for h in row] for row in d.header]
        d.rows = lines
        d.by_name = True

    return apply


kind("structure", "long-with-units", alone=True)(
    _long(("time", "sensor", "name", "value"), unit=True)
)
kind("structure", "long-one-name", alone=True)(_long(("time", "both", "value"), unit=True))
kind("structure", "long-value-first", alone=True)(_long(("time", "value", "both"), unit=True))
kind("structure", "long-no-unit", alone=True)(
    _long(("time", "sensor", "name", "value"), unit=False)
)


@kind("structure", "long-unreadable-time", alone=True)
def long_unreadable_time(d: Draft) -> None:
    """A long table whose times are words: nobody can know the interval."""
    d.columns[0].cells = ["soon"] * len(d.rows)
    _long(("time", "sensor", "name", "value"), unit=True)(d)
    d.expects = "asked"


# Files in parts.
def _split(parts: int, *, header: bool, bom: bool = False) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        ends = np.linspace(0, len(d.rows), parts + 1).astype(int)
        files = {}
        for k in range(parts):
            head = [d.line(d.header[0])] if header or k == 0 else []
            lines = [*head, *(d.line(r) for r in d.rows[ends[k] : ends[k + 1]])]
            files[f"part {k + 1}.csv"] = ("\n".join(lines) + "\n").encode(
                "utf-8-sig" if bom else "utf-8")  # fmt: skip
        d.files = files

    return apply


kind("structure", "two-files", alone=True)(_split(2, header=True))
kind("structure", "three-files", alone=True)(_split(3, header=True))


@kind("structure", "mark-at-a-join", alone=True)
def mark_at_join(d: Draft) -> None:
    """Two files with byte-order marks and headers, copied one behind the other."""
    _split(2, header=True, bom=True)(d)
    assert d.files is not None
    d.files = {"log.csv": b"".join(d.files.values())}


@kind("structure", "mark-at-a-join-no-header", alone=True)
def mark_at_join_bare(d: Draft) -> None:
    _split(2, header=False, bom=True)(d)
    assert d.files is not None
    d.files = {"log.csv": b"".join(d.files.values())}
