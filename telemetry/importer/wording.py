"""Small helpers for sentences that count things."""

from __future__ import annotations


def count(number: int, noun: str, plural: str = "") -> str:
    """Give "1 row" or "1,234 rows".

    Parameters
    ----------
    number : int
    noun : str
        In the singular.
    plural : str
        Where it is not made with an "s".
    """
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def verb(number: int, one: str, many: str) -> str:
    """The form of a verb that fits a number of things.

    Parameters
    ----------
    number : int
    one, many : str
        "was", "were".
    """
    return one if number == 1 else many


def set_option(title: str, *readings: str, number: int | None = None) -> str:
    """The options that settle a column, as they are typed: ``--set 'COLUMN=READING'``.

    Parameters
    ----------
    title : str
        The column's. It comes from a file of anybody: where it holds what a shell would act on
        within any quotation marks, the number stands for it.
    readings : str
        One option for each, joined by "or"; only the first says ``--set``.
    number : int, optional
        The column's, from 1.
    """
    quote = "'"
    if "'" in title:
        if set(title) & set('"$`!\\'):
            title = "COLUMN" if number is None else f"#{number}"
        else:
            quote = '"'
    return "--set " + " or ".join(f"{quote}{title}={reading}{quote}" for reading in readings)
