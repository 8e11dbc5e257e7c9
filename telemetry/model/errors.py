"""What can go wrong, in words a pilot can act on.

::

    BusbookError            what, where (path, line, column) and the next step
      UnreadableLog         the file is no log, or not one that can be read without guessing
        UnsettledColumns    it can be read, but columns of it wait for somebody to say what they are
      UnknownSetting        a column map, unit or place the user gave is not understood
      ProfileError          an aircraft's profile is wrong at a named line and key
      OutputError           a report or export could not be written
      BookError             the logbook cannot be opened, read or written
      WorkersError          the workers that should do something cannot be reached, or have ended

Every error is one sentence of what was seen, where, and what to do. The command line prints it
and exits with 2; no traceback reaches a user.
"""

from __future__ import annotations

import traceback
from pathlib import Path


class BusbookError(Exception):
    """Root of all errors of this package.

    Parameters
    ----------
    what : str
        What was seen, without a full stop.
    path : path or None
        The file concerned.
    line : int or None
        Line in that file, from 1.
    column : str or None
        Column header, or key of a profile.
    hint : str
        What the user can do next, a clause or sentence without a full stop.
    """

    _column_word = "column"

    def __init__(
        self,
        what: str,
        *,
        path: str | Path | None = None,
        line: int | None = None,
        column: str | None = None,
        hint: str = "",
    ) -> None:
        self.what = what
        self.path = None if path is None else str(path)
        self.line = line
        self.column = column
        self.hint = hint
        super().__init__(what, path, line, column, hint)

    def __str__(self) -> str:
        """One sentence: where, what, what to do."""
        where = [] if self.path is None else [self.path]
        if self.line is not None:
            where.append(f"line {self.line}")
        if self.column is not None:
            where.append(f"{self._column_word} '{self.column}'")
        head = " ".join(where) + ": " if where else ""
        tail = f"; {self.hint}" if self.hint else ""
        return f"{head}{self.what}{tail}."

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle by keyword, so that an error survives the way back from a worker process."""
        return (_rebuild, (type(self), self.what, self.path, self.line, self.column, self.hint))


def _rebuild(
    kind: type[BusbookError],
    what: str,
    path: str | None,
    line: int | None,
    column: str | None,
    hint: str,
) -> BusbookError:
    return kind(what, path=path, line=line, column=column, hint=hint)


class UnreadableLog(BusbookError, ValueError):
    """The file is no log, or cannot be read without guessing."""


class UnsettledColumns(UnreadableLog):
    """Columns of the log may be of a supply, and nobody has said yet what they hold."""


class UnknownSetting(BusbookError, ValueError):
    """A column map, unit or place given by the user is not understood."""


class ProfileError(BusbookError, ValueError):
    """An aircraft's profile is wrong at the named line and key."""

    _column_word = "key"


class OutputError(BusbookError, OSError):
    """A report or export could not be written; nothing half-written was left behind."""


class BookError(BusbookError):
    """The logbook cannot be opened, read or written; what it held before is untouched."""


class WorkersError(BusbookError):
    """Workers of a cluster cannot be reached or used, or have ended before their work was done."""


def sentence(error: BaseException) -> str:
    """What went wrong, in one sentence; an error that nobody foresaw says where it arose."""
    if isinstance(error, BusbookError):
        return str(error)
    if isinstance(error, MemoryError):
        return "there is not enough memory for this; close other programs or review fewer logs."
    if isinstance(error, OSError) and isinstance(error.filename, str):
        what = f"the system refuses this path ({error.strerror or error})"
        return str(BusbookError(what, path=error.filename, hint="check it, and its permissions"))
    last = traceback.extract_tb(error.__traceback__)[-1]
    return (
        f"busbook failed here, which is a fault of the program and not yours ({error!r} in "
        f"{Path(last.filename).name}, line {last.lineno}); please report it, with the log."
    )
