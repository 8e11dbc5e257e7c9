"""Which code page a text is in: the one under which its words are words.

A byte beyond ASCII is another letter in every code page. The right one makes words that the
vocabulary knows; where it knows none, words of one script, with few accents, their capitals in
front and no sign among their letters. A library that judges by the frequencies of letters was
tried on headers of twenty languages and was right less often: a header is too short for it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

from telemetry.importer.names.words import fold, meanings, split_compound

#: Code pages that are tried, of equals the first: Windows-1252 is by far the most common.
CODE_PAGES = (
    "cp1252", "cp1250", "cp850", "mac_roman", "iso8859_2", "cp1251", "cp1253", "cp1254", "cp932",
    "euc_jp",
)  # fmt: skip
_SEVERAL_BYTES = ("cp932", "euc_jp")
# Lines that are looked at, and how far into each.
_LINES, _LINE_BYTES = 40, 8_192
_HIGH = re.compile(rb"[\x80-\xff]")
_WORD = re.compile(r"[^\s\d\x00-\x26\x28-\x2e\x3a-\x40\x5b-\x60\x7b-\x7e/]+")
_UNITS = re.compile(
    "(?:[\N{DEGREE SIGN}\N{MASCULINE ORDINAL INDICATOR}][CFK]?|[\N{MICRO SIGN}\u03bc][A-Za-z]{1,2}"
    "|[kM]?[\N{OHM SIGN}\u03a9]|[A-Za-z]{1,3}[\N{SUPERSCRIPT TWO}\N{SUPERSCRIPT THREE}])"
)
_UNLIKELY = frozenset("\u00f0\u00fe\u00d0\u00de\u00ff\u0178\u00d7\u00f7")
_EAST = re.compile("[\u3040-\u30ff\u3400-\u9fff\uff01-\uff9f\u3005]")


def code_page(raw: bytes) -> str:
    """The code page of a text that is no Unicode.

    Parameters
    ----------
    raw : bytes
    """
    lines = b"\n".join(dict.fromkeys(_high_lines(raw)))
    return max(CODE_PAGES, key=lambda name: _likely(lines, name))


def decoded(raw: bytes, name: str) -> str:
    """The text in a code page; a byte that stands for nothing becomes a harmless sign.

    Parameters
    ----------
    raw : bytes
    name : str
    """
    try:
        return raw.decode(name)
    except UnicodeDecodeError:
        return raw.decode(name, errors="replace")


def _high_lines(raw: bytes) -> Iterator[bytes]:
    at = 0
    for _ in range(_LINES):
        found = _HIGH.search(raw, at)
        if found is None:
            return
        begin = max(raw.rfind(b"\n", at, found.start()) + 1, at, found.start() - _LINE_BYTES)
        end = raw.find(b"\n", found.start())
        end = len(raw) if end < 0 else end
        yield raw[begin : min(end, begin + 2 * _LINE_BYTES)]
        at = end


def _likely(lines: bytes, name: str) -> float:
    text = decoded(lines, name)
    words = [w for w in dict.fromkeys(_WORD.findall(text)) if not w.isascii()]
    return sum(map(_weight, words)) / max(len(words), 1)


def _weight(word: str) -> float:
    """How likely it is that somebody wrote a word: 2 for one that is known, below 0 for none."""
    if "\ufffd" in word or any(unicodedata.category(c) in ("Cc", "Co", "Cn") for c in word):
        return -3.0
    if _UNITS.fullmatch(word):
        return 0.5
    if not all(c.isalpha() or unicodedata.combining(c) or c in "'\u30fc" for c in word):
        return -1.0
    if meanings(word) or split_compound(fold(word)):
        return 2.0
    if _EAST.search(word):
        return _eastern(word)
    scripts = {unicodedata.name(c, "?").partition(" ")[0] for c in word}
    cased = word[1:].islower() or word.isupper() or len(word) == 1
    accents = sum(not c.isascii() for c in word)
    if len(scripts) > 1 or not cased:
        return -1.0
    if "LATIN" not in scripts:
        return 0.7 if len(word) > 2 else 0.1
    strange = sum(c in _UNLIKELY for c in word)
    return (0.5 if 2 * accents <= len(word) else -1.0) - 0.3 * strange


def _eastern(word: str) -> float:
    """A word in Han characters and kana: several of them, and no small Latin letters between."""
    east = len(_EAST.findall(word))
    if east < 2 or any(c.isascii() and c.islower() for c in word):
        return -1.0
    half = sum("\uff61" <= c <= "\uff9f" for c in word)
    return 0.6 if not half else 0.2 if half == len(word) else -1.0
