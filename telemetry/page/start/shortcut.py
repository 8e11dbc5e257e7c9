"""A sign to click on, so that the page opens without a terminal: one small file for each system.

Linux has desktop entries (Desktop Entry Specification, freedesktop.org); macOS opens a file that
ends in ``.command``; Windows runs a ``.pyw`` with the Python that its first line names (PEP 397),
and a ``.cmd`` where busbook is a program of its own and there may be no Python.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path

from telemetry.book.files.writing import write_file

_WHAT = "Opens the page of busbook"


@dataclass(frozen=True, slots=True)
class Shortcut:
    """One file: where it goes, what it says, and whether the system must be told to run it."""

    path: Path
    text: str
    runs: bool = False


def shortcut_for(
    system: str, home: Path, program: str, words: tuple[str, ...], *, alone: bool = False
) -> Shortcut:
    """The file for a system.

    Parameters
    ----------
    system : str
        As ``sys.platform`` names it.
    home : Path
        The user's folder.
    program : str
        The interpreter that has busbook, or the start file of a folder that holds all of it.
    words : tuple of str
        Options of ``busbook open``.
    alone : bool
        Whether it is such a start file, which takes the options themselves.
    """
    desktop = home / "Desktop"
    if alone and system == "win32":
        # The file is read in the console's own letters, and % is a sign of it even in quotes.
        line = " ".join(f'"{word}"' for word in (program, *words)).replace("%", "%%")
        text = f'@rem {_WHAT}.\r\n@chcp 65001 >nul\r\n@start "" {line}\r\n'
        return Shortcut((desktop if desktop.is_dir() else home) / "busbook.cmd", text)
    words = words if alone else ("-m", "telemetry", "open", *words)
    if system == "win32":
        # Without a window of its own.
        quiet = (
            program[: -len("python.exe")] + "pythonw.exe"
            if program.endswith("python.exe")
            else program
        )
        shown = f'"{quiet}"' if " " in quiet else quiet
        text = (
            f"#!{shown}\r\n"
            '"""Opens the page of busbook; made by: busbook open --shortcut."""\r\n'
            "import runpy\r\nimport sys\r\n\r\n"
            f"sys.argv = {['busbook', *words[2:]]!r}\r\n"
            'runpy.run_module("telemetry", run_name="__main__")\r\n'
        )
        return Shortcut((desktop if desktop.is_dir() else home) / "busbook.pyw", text)
    if system == "darwin":
        line = " ".join(map(_single, (program, *words)))
        text = f"#!/bin/sh\n# {_WHAT}; made by: busbook open --shortcut.\nexec {line}\n"
        return Shortcut(
            (desktop if desktop.is_dir() else home) / "busbook.command", text, runs=True
        )
    line = " ".join(map(_entry, (program, *words)))
    text = (
        "[Desktop Entry]\nType=Application\nVersion=1.0\nName=busbook\n"
        "Comment=How the radio power of your aircraft stands\n"
        f"Exec={line}\nTerminal=false\nCategories=Utility;\n"
    )
    return Shortcut(home / ".local" / "share" / "applications" / "busbook.desktop", text, runs=True)


def make_shortcut(words: tuple[str, ...]) -> Path:
    """Write the file of this system; where it lies.

    Raises
    ------
    BookError
        If it cannot be written.
    """
    alone = bool(getattr(sys, "frozen", False))
    made = shortcut_for(sys.platform, Path.home(), sys.executable, words, alone=alone)
    write_file(made.path, made.text.encode())
    if made.runs and os.name == "posix":
        made.path.chmod(0o755)
    return made.path


def _single(word: str) -> str:
    """A word between single quotation marks, in which a shell acts on nothing (POSIX)."""
    return "'" + word.replace("'", "'\\''") + "'"


def _entry(word: str) -> str:
    """A word of the key Exec: quoted, with what the specification reserves escaped."""
    for sign in ("\\", '"', "`", "$"):
        word = word.replace(sign, f"\\{sign}")
    # The value is a string of its own, in which a backslash is written twice, and % begins a code.
    return '"' + word.replace("\\", "\\\\").replace("%", "%%") + '"'
