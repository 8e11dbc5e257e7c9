"""Lists of records as tables, with the same columns and types however many rows there are."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import Field, fields, is_dataclass
from enum import Enum
from functools import cache
from types import UnionType
from typing import TYPE_CHECKING, Any, Union, get_args, get_origin, get_type_hints

from telemetry.model.brief import as_html, as_text
from telemetry.results.kinds import Level

if TYPE_CHECKING:
    import pandas as pd

#: Of a field that other parts of the program ask; it stands in no document and in no table.
INNER: Mapping[str, bool] = {"inner": True}
Row = Sequence[Any]
Cell = tuple[str, Callable[[Any], Any]]


class Tables(Mapping[str, "pd.DataFrame"]):
    """Every list of records of a review or a history as a DataFrame, by name.

    ``list(tables)`` names them, ``tables["events"]`` makes one: one row for each record, one
    column for each of its fields, by the same name and with the same unit in it as in the JSON
    (``residual_v``, ``source_mohm``). A field that is itself a record becomes several columns
    (``change_rise``); a list of records within a record has a table of its own. The columns and
    their types are the same where there is no row:

    ================================= ================ ====================================
    field                             dtype            where not measured
    ================================= ================ ====================================
    a measure                         float64          NaN
    a count                           int64, Int64     ``pandas.NA``
    yes or no                         bool, boolean    ``pandas.NA``
    text                              string           ``pandas.NA``
    a level                           ordered category NaN; ``table.level >= "watch"`` works
    a list of values, the evidence    object           an empty one
    ================================= ================ ====================================

    Raises
    ------
    KeyError
        If there is no table of that name; it says which there are.
    """

    __slots__ = ("_makers",)

    def __init__(self, makers: Mapping[str, Callable[[], pd.DataFrame]]) -> None:
        self._makers = makers

    def __getitem__(self, name: str) -> pd.DataFrame:
        if name not in self._makers:
            raise KeyError(f"there is no table {name!r}; there are {', '.join(self._makers)}")
        return self._makers[name]()

    def __iter__(self) -> Iterator[str]:
        return iter(self._makers)

    def __len__(self) -> int:
        return len(self._makers)

    def __contains__(self, name: object) -> bool:
        return name in self._makers

    def __repr__(self) -> str:
        return as_text("Tables", [(name, _size(self[name])) for name in self])

    def _repr_html_(self) -> str:
        return as_html("Tables", [(name, _size(self[name])) for name in self])

    def _ipython_key_completions_(self) -> list[str]:
        return list(self._makers)


def _size(table: pd.DataFrame) -> str:
    rows, columns = table.shape
    return f"{rows} rows, {columns} columns"


def table(kinds: Sequence[type], rows: Iterable[Row]) -> pd.DataFrame:
    """Records as a table.

    Parameters
    ----------
    kinds : sequence of type
        The dataclasses of one row, whose fields stand side by side.
    rows : iterable of sequence
        One record of each kind.

    Returns
    -------
    pandas.DataFrame
        Columns and types as :class:`Tables` tells.
    """
    import pandas as pd

    every = list(rows)
    made: dict[str, pd.Series[Any]] = {}
    for k, kind in enumerate(kinds):
        for name, (dtype, get) in _columns(kind).items():
            values = [get(row[k]) for row in every]
            made[name] = pd.Series(values, dtype=_dtype(dtype))
    return pd.DataFrame(made)


def shown_fields(kind: Any) -> list[Field[Any]]:
    """The fields of a record that documents and tables show: all but the ``INNER`` ones."""
    return [f for f in fields(kind) if not f.metadata.get("inner")]


def lists_of(kind: type) -> dict[str, type]:
    """The fields of a dataclass that hold several records, and the dataclass of these."""
    hints = get_type_hints(kind)
    several = [f.name for f in shown_fields(kind) if get_origin(hints[f.name]) is tuple]
    found = {name: get_args(hints[name])[0] for name in several}
    return {name: one for name, one in found.items() if _is_record(one)}


@cache
def _columns(kind: type, optional: bool = False) -> dict[str, Cell]:
    """For each column its type, and what takes its value from a record."""
    hints = get_type_hints(kind)
    found: dict[str, Cell] = {}
    for field in shown_fields(kind):
        one, missing = _without_none(hints[field.name])
        if _is_record(one):
            for name, (dtype, get) in _columns(one, True).items():
                found[f"{field.name}_{name}"] = dtype, _within(field.name, get)
        elif not any(_is_record(part) for part in get_args(one)):
            found[field.name] = _kind_of(one, missing or optional), _value(field.name)
    return found


def _is_record(one: Any) -> bool:
    return isinstance(one, type) and is_dataclass(one)


def _without_none(hint: Any) -> tuple[Any, bool]:
    """The type without None, and whether None was allowed."""
    if get_origin(hint) not in (Union, UnionType):
        return hint, False
    others = [part for part in get_args(hint) if part is not type(None)]
    return (others[0] if len(others) == 1 else hint), len(others) < len(get_args(hint))


def _kind_of(one: Any, missing: bool) -> str:
    if one is float:
        return "float64"
    if one is int:
        return "Int64" if missing else "int64"
    if one is bool:
        return "boolean" if missing else "bool"
    if one is Level:
        return "level"
    if isinstance(one, type) and issubclass(one, str):
        return "string"
    return "object"


def _dtype(name: str) -> Any:
    import pandas as pd

    if name == "level":
        return pd.CategoricalDtype([level.value for level in Level], ordered=True)
    return name


def _value(name: str) -> Callable[[Any], Any]:
    def get(record: Any) -> Any:
        found = getattr(record, name)
        return found.value if isinstance(found, Enum) else found

    return get


def _within(name: str, get: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def inner(record: Any) -> Any:
        found = getattr(record, name)
        return None if found is None else get(found)

    return inner
