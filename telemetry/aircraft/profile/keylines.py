"""Where in a TOML text each key and value stands.

The standard library's reader gives values without positions. A person who is told that
``length_m`` is negative wants the line, and a key that is set has to find its place. This scan
relies on the text having been accepted by that reader already: it finds positions and judges
nothing. Grammar: TOML v1.0.0.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field

KeyPath = tuple[str | int, ...]

_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', re.DOTALL
)
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}#\r\n]+")
_SPACE = re.compile(r"[ \t]*")
_FILL = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")


def key_lines(text: str) -> dict[KeyPath, int]:
    """The line, from 1, of every key, table and array item of a valid TOML text.

    Parameters
    ----------
    text : str
        A text that ``tomllib.loads`` accepts.

    Returns
    -------
    dict
        ``("nodes", 1, "lead", "awg") -> 17``. Tables map to the line of their header (an item of
        an array of tables to that of its own), array items to the line they begin on.
    """
    return key_places(text).lines


@dataclass(frozen=True, slots=True)
class KeyPlaces:
    """Where everything stands in a TOML text; offsets count characters from 0.

    Attributes
    ----------
    lines : dict of KeyPath to int
        As :func:`key_lines`.
    values : dict of KeyPath to (int, int)
        Start and end of each value, without the blanks around it.
    ends : dict of KeyPath to int
        Where a table has room for one more key: the end of its header or of its last value, within
        an inline table that of the last value in it. The path () is the text above the tables.
    inline : set of KeyPath
        The tables in braces.
    """

    lines: dict[KeyPath, int] = field(default_factory=dict)
    values: dict[KeyPath, tuple[int, int]] = field(default_factory=dict)
    ends: dict[KeyPath, int] = field(default_factory=dict)
    inline: set[KeyPath] = field(default_factory=set)


def key_places(text: str) -> KeyPlaces:
    """Where every key and value of a valid TOML text stands.

    Parameters
    ----------
    text : str
        A text that ``tomllib.loads`` accepts, with its own line ends.
    """
    return _Scan(text).found


class _Scan:
    """One pass over the text; ``at`` is the place of reading."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found = KeyPlaces()
        self.items: dict[KeyPath, int] = {}  # arrays of tables: how many so far
        table: KeyPath = ()
        while self._skip(_FILL) < len(text):
            if text.startswith("[", self.at):
                table = self._header()
            else:
                self._pair(table)

    def _skip(self, pattern: re.Pattern[str]) -> int:
        if (found := pattern.match(self.text, self.at)) is not None:
            self.at = found.end()
        return self.at

    def _note(self, path: KeyPath) -> None:
        self.found.lines.setdefault(path, self.text.count("\n", 0, self.at) + 1)

    def _key(self) -> list[str]:
        """A dotted key; leaves the place of reading behind it."""
        parts = []
        while True:
            self._skip(_SPACE)
            start = self.at
            if self.text[start] in "\"'":
                self._skip(_STRING)
                parts.append(tomllib.loads("k = " + self.text[start : self.at])["k"])
            else:
                self._skip(_BARE_KEY)
                parts.append(self.text[start : self.at])
            self._skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return parts
            self.at += 1

    def _header(self) -> KeyPath:
        array = self.text.startswith("[[", self.at)
        self.at += 2 if array else 1
        *outer, last = self._key()
        path: KeyPath = ()
        for part in outer:
            path = self._latest((*path, part))
            self._note(path)
        path = (*path, last)
        if array:
            self._note(path)
            number = self.items.get(path, 0)
            self.items[path] = number + 1
            path = (*path, number)
        self._note(path)
        self.at += 2 if array else 1
        self.found.ends[path] = self.at
        return path

    def _latest(self, path: KeyPath) -> KeyPath:
        """Names in a header mean the latest item where they name an array of tables."""
        return (*path, self.items[path] - 1) if path in self.items else path

    def _pair(self, table: KeyPath) -> None:
        """``key = value``; of a dotted key every part is noted."""
        path = table
        start = self.at
        parts = self._key()
        end, self.at = self.at, start
        for part in parts:
            path = (*path, part)
            self._note(path)
        self.at = end + 1  # behind the equals sign
        self._skip(_SPACE)
        self._value(path)
        # Of a dotted key the tables in between end here too: one more dotted key may follow.
        for k in range(len(table), len(path)):
            self.found.ends[path[:k]] = self.found.values[path][1]

    def _value(self, path: KeyPath) -> None:
        start = self.at
        opening = self.text[start]
        if opening in "\"'":
            self._skip(_STRING)
        elif opening == "[":
            self.at += 1
            number = 0
            while self.text[self._skip(_FILL)] != "]":
                self._note((*path, number))
                self._value((*path, number))
                number += 1
                self._comma()
            self.at += 1
        elif opening == "{":
            self.at += 1
            self.found.inline.add(path)
            self.found.ends[path] = self.at
            while self.text[self._skip(_FILL)] != "}":
                self._pair(path)
                self._comma()
            self.at += 1
        else:
            self._skip(_SCALAR)
        self.found.values[path] = (start, start + len(self.text[start : self.at].rstrip()))

    def _comma(self) -> None:
        self._skip(_FILL)
        if self.text.startswith(",", self.at):
            self.at += 1
