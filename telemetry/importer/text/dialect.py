"""The dialect of a table: separator and decimal mark, found from what the cells then hold.

Each candidate separator splits a sample of lines; the one under which most lines have the same
number of cells and most cells are numbers, times or plain words wins. Judging a dialect by the
consistency of row patterns and cell types follows van den Burg, Nazabal & Sutton, "Wrangling
messy CSV files by detecting row and type patterns", Data Mining and Knowledge Discovery 33
(2019); the scores are our own.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from telemetry.importer.cells import CellKind, kind

#: Candidate separators; "  " stands for runs of two or more blanks, " " for any run of blanks,
#: ", " for a comma with a blank behind it, beside commas that are decimal marks.
SEPARATORS = ("\t", ";", "|", ",", ", ", "  ", " ")

_WIDE_GAP = re.compile(r"\s*\t\s*|\s{2,}")
_COMMA_BLANK = re.compile(r", +|,$")
_IN_BYTES = {"  ": rb"[ \t]*\t[ \t]*| {2,}", " ": rb"[ \t]+", ", ": rb", +|,(?=\r?\n|\Z)"}

#: Lines that a quoted name may take, and that are joined to find its end (heuristic).
MOST_LINES = 60


@dataclass(frozen=True, slots=True)
class Sample:
    """Lines of a file to judge it by.

    Attributes
    ----------
    head : tuple of str
        The first lines, without line ends.
    later : tuple of str
        Whole lines from the middle and the end of a long file.
    """

    head: tuple[str, ...]
    later: tuple[str, ...] = ()


def take_sample(
    data: bytes, *, head_bytes: int = 49_152, later_bytes: int = 8_192, places: int = 2
) -> Sample:
    """Lines from the beginning of a text, and from evenly spaced places up to its end.

    Parameters
    ----------
    data : bytes
        UTF-8.
    head_bytes, later_bytes : int
        How much to take at the beginning, and at each of the later places.
    places : int

    Returns
    -------
    Sample
    """
    if len(data) <= head_bytes:
        return Sample(tuple(_lines(data)))
    # Not within a line, unless the first line alone is longer.
    cut = data.rfind(b"\n", 0, head_bytes)
    cut = data.find(b"\n", head_bytes) if cut < 0 else cut
    head = data[: cut + 1] if cut >= 0 else data
    later: list[str] = []
    for place in range(1, places + 1):
        start = min(len(data) * place // places, len(data) - later_bytes)
        begin = data.find(b"\n", max(start, len(head) - 1), start + 2 * later_bytes) + 1
        if begin <= 0:
            continue
        end = data.rfind(b"\n", begin, begin + later_bytes)
        if end > begin:
            later.extend(_lines(data[begin:end]))
    return Sample(tuple(_lines(head)), tuple(later))


def _lines(data: bytes) -> list[str]:
    lines = data.decode("utf-8", errors="replace").split("\n")
    if lines and not lines[-1]:
        lines.pop()
    return [line.rstrip("\r") for line in lines]


def split_line(line: str, separator: str) -> list[str]:
    """Cells of one line, quotes removed.

    Parameters
    ----------
    line : str
    separator : str
        One of SEPARATORS.
    """
    if separator == " ":
        if '"' in line:
            return _quoted(" ".join(line.split()), " ")
        return line.split()
    if separator == "  ":
        return _WIDE_GAP.split(line.strip())
    if separator == ", ":
        return _quoted(line, ",") if '"' in line else _COMMA_BLANK.split(line)
    if '"' in line:
        return _quoted(line, separator)
    return line.split(separator)


def _quoted(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:
        return line.split(separator)


def as_tabs(data: bytes, separator: str) -> tuple[bytes, str]:
    """A table whose separator is no single character, with a tab in its place; and the mark then.

    Parameters
    ----------
    data : bytes
    separator : str
        One of SEPARATORS.
    """
    if separator not in _IN_BYTES:
        return data, separator
    flat = re.sub(_IN_BYTES[separator], b"\t", data)
    if separator.isspace():
        flat = re.sub(rb"(?m)^\t+|\t+(?=\r?$)", b"", flat)
    return flat, "\t"


def join_lines(lines: Sequence[str], separator: str, usual: int) -> tuple[list[str], int]:
    """Cells of the first line, and how many lines they take: a quoted cell may hold line ends.

    Parameters
    ----------
    lines : sequence of str
    separator : str
    usual : int
        Cells of the other lines. A quote that does not end in a row of about that many is a stray
        one and left out.
    """
    first = lines[0]
    if first.count('"') % 2 == 0:
        return split_line(first, separator), 1
    joined = first
    for i, line in enumerate(lines[1 : MOST_LINES + 1], 2):
        joined = f"{joined} {line.strip()}"
        if line.count('"') % 2:
            cells = split_line(joined, separator)
            if joined.count('"') % 2 == 0 and abs(len(cells) - usual) <= 1:
                return cells, i
        elif '"' not in line and usual > 1 and len(split_line(line, separator)) == usual:
            break
    places = [i for i, c in enumerate(first) if c == '"']
    tries = [first[:i] + first[i + 1 :] for i in places]
    cells = next((c for t in tries if len(c := split_line(t, separator)) == usual), [])
    return cells or split_line(first.replace('"', ""), separator), 1


_WHOLE_LINE = re.compile(r'"(?:[^"]|"")*"\s*')
_SINGLE = re.compile(rb"(?m)(^|[;,|\t])[ ]*'([^'\n]*)'[ ]*(?=[;,|\t]|\r?$)")
_BLANK_QUOTE = re.compile(r'[;,|\t]\s+"')


def plain_quotes(data: bytes, head: Sequence[str]) -> bytes:
    """Double quotes around cells, and only there.

    Single quotes become double ones, blanks between separator and quote are left out, and lines
    that are quoted as a whole, as where a table was pasted into one column, are laid open.

    Parameters
    ----------
    data : bytes
    head : sequence of str
        The first lines.
    """
    filled = [x for x in head if x.strip()]
    if filled and all(_WHOLE_LINE.fullmatch(x) for x in filled):
        cells = (next(csv.reader([x])) for x in filled)
        if any(m in c[0] for c in cells for m in ";,|\t"):
            data = re.sub(rb'(?m)^"(.*)"[ ]*(?=\r?$)', rb"\1", data).replace(b'""', b'"')
    if any("'" in x and len(_SINGLE.findall(x.encode())) > 1 for x in filled):
        data = _SINGLE.sub(rb'\1"\2"', data.replace(b'"', b""))
    if any('"' in x and _BLANK_QUOTE.search(x) for x in filled):
        data = re.sub(rb'([;,|\t])[ ]+"', rb'\1"', data)
        data = re.sub(rb'"[ ]+(?=[;,|\t])', b'"', data)
    return data


def find_separator(sample: Sample) -> tuple[str, dict[str, float]]:
    """The separator that turns the sample into the most regular table.

    Parameters
    ----------
    sample : Sample

    Returns
    -------
    separator : str
        "" where no candidate makes a table of two columns or more.
    scores : dict
        Score of every candidate, for the curious.
    """
    named = _declared(sample.head)
    if named:
        return named, {named: 1.0}
    filled = [line for line in sample.head if line.strip()]
    # Preamble and header are at the front: judge by the later two thirds.
    body = filled[len(filled) // 3 :] if len(filled) > 6 else filled[-4:]
    step = max(1, len(body) // 30)
    lines = [*body[::step], *[line for line in sample.later[::8] if line.strip()]]
    scores = {s: _score(lines, s) for s in SEPARATORS}
    best = max(SEPARATORS, key=lambda s: scores[s])
    return (best if scores[best] > 0.0 else ""), scores


def _declared(head: Sequence[str]) -> str:
    """The separator that a first line "sep=;" declares, as spreadsheets write and read it."""
    found = re.fullmatch(r"\s*\"?sep=(.|\\t)\"?\s*", head[0], re.I) if head else None
    if found is None:
        return ""
    mark = "\t" if found.group(1) == "\\t" else found.group(1)
    return mark if mark in SEPARATORS else ""


def _score(lines: Sequence[str], separator: str) -> float:
    if separator.isspace() and separator != "\t" and sum("\t" in x for x in lines) > len(lines) / 2:
        return 0.0  # the tabs separate, whatever blanks stand between them
    if separator == "," and _comma_is_decimal(lines):
        return 0.0
    rows = [split_line(line, separator) for line in lines]
    counts = Counter(len(row) for row in rows if len(row) > 1)
    if not counts:
        return 0.0
    width, often = max(counts.items(), key=lambda item: (item[1], item[0]))
    typed, numbers, cells = 0.0, 0, 0
    for row in rows:
        # A row that is one cell longer or shorter still belongs to the table.
        if len(row) < 2 or abs(len(row) - width) > 1:
            continue
        for cell in row:
            what = kind(cell)
            cells += 1
            if what is CellKind.NUMBER or what is CellKind.TIME:
                typed += 1.0
                numbers += 1
            elif what is CellKind.MEASURE:
                typed += 0.9
                numbers += 1
            elif what is CellKind.BLANK:
                typed += 0.8
            elif not any(mark in cell for mark in "\t;|,") and len(cell) < 40:
                typed += 0.7
    # Words of a header are separated by single blanks too: there, most cells must be values.
    if not numbers or (separator == " " and numbers < 0.5 * cells):
        return 0.0
    regular = often / len(rows)
    return (0.3 + 0.7 * regular) * typed / cells * (1.0 + 0.01 * min(width, 30))


def _comma_is_decimal(lines: Sequence[str]) -> bool:
    """True where commas with a blank behind them separate "8,21, 1,25": the others are marks."""
    bare = [line for line in lines if '"' not in line and any(c.isdigit() for c in line)]
    both = [re.search(r"\d,\d", x) is not None and ", " in x for x in bare]
    odd = [re.search(r"(?<!\d),(?! |$)|,(?=[^\d\s])", x) is not None for x in bare]
    return sum(both) > len(bare) / 2 and not any(odd)
