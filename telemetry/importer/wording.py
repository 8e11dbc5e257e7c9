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
