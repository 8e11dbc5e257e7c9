"""Odd bytes: encodings, byte-order marks, line ends, archives."""

from __future__ import annotations

from collections.abc import Callable

from tests.accuracy.odd_files.draft import Draft, plain_name, zipped
from tests.accuracy.odd_files.kinds import kind
from tests.accuracy.odd_files.words import words_of


def _spoken(*languages: str) -> Callable[[Draft], None]:
    def prepare(d: Draft) -> None:
        words = words_of(str(d.rng.choice(languages)))
        for c in d.data():
            c.name = plain_name(c, words)

    return prepare


def _encoded(encoding: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        d.encoding = encoding

    return apply


for _name, _encoding, _languages in (
    ("utf-8-mark", "utf-8-sig", ("german", "french")), ("utf-16", "utf-16", ("german", "english")),
    ("utf-16-le-bare", "utf-16-le", ("english", "french")),
    ("utf-16-be-bare", "utf-16-be", ("english", "spanish")),
    ("utf-32", "utf-32", ("english", "german")),
    ("windows-1252", "cp1252", ("german", "french", "spanish")),
    ("windows-1250-czech", "cp1250", ("czech",)), ("windows-1250-polish", "cp1250", ("polish",)),
    ("windows-1250-hungarian", "cp1250", ("hungarian",)),
    ("latin-1", "latin-1", ("spanish", "german")),
    ("latin-9", "iso8859-15", ("french",)), ("mac-roman", "mac-roman", ("german", "french")),
    ("dos-850", "cp850", ("german",)), ("shift-jis", "cp932", ("japanese",)),
    ("utf-8-japanese", "utf-8", ("japanese",)),
):  # fmt: skip
    kind("encoding", _name, alone=_name == "utf-32", prepare=_spoken(*_languages))(
        _encoded(_encoding)
    )


def _line_end(mark: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        d.newline = mark

    return apply


kind("encoding", "line-end-crlf")(_line_end("\r\n"))
kind("encoding", "line-end-cr", alone=True)(_line_end("\r"))


@kind("encoding", "line-end-mixed")
def line_end_mixed(d: Draft) -> None:
    def edit(text: str) -> str:
        lines = enumerate(text.splitlines())
        return "".join(line + ("\r\n" if k % 7 == 3 else "\n") for k, line in lines)

    d.edits.append(edit)


@kind("encoding", "padding-zeros")
def padding_zeros(d: Draft) -> None:
    d.edits.append(lambda text: text + "\0" * 512)


@kind("encoding", "gzip")
def gzipped(d: Draft) -> None:
    d.pack = "gz"


@kind("encoding", "zip-one")
def zip_one(d: Draft) -> None:
    d.pack = "zip"


@kind("encoding", "zip-with-readme", alone=True)
def zip_with_readme(d: Draft) -> None:
    data = d.text().encode()
    d.files = {"log.zip": zipped({"readme.txt": b"An invented log.\n", "day/log.csv": data})}


@kind("encoding", "ending-txt")
def ending_txt(d: Draft) -> None:
    d.ending = ".txt"


@kind("encoding", "ending-log-gz", alone=True)
def ending_log_gz(d: Draft) -> None:
    d.ending, d.pack = ".log", "gz"
