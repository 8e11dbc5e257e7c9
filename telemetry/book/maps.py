"""Which aircraft a log belongs to, learnt from the logs that were assigned before.

Each aircraft and set of columns has one small file: the columns, the settings with which they were
read, and the model names found in preambles. A header that names the model decides. Columns that
only one aircraft has assign a log without such a header. Where several aircraft share them (the
same units in each), the aircraft's name in the file's name decides, and where that does not
either, the user is asked.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from telemetry.book.files.joining import PARTS
from telemetry.book.files.layout import Places
from telemetry.book.files.names import aircraft_key
from telemetry.book.files.tables import channels_in, provenance_in, schema_of
from telemetry.book.files.writing import read_json, read_sealed, write_sealed
from telemetry.model.channels import Channel
from telemetry.model.errors import BookError, UnknownSetting
from telemetry.model.log import Log, Provenance

if TYPE_CHECKING:
    from telemetry.importer import ColumnMap

# Keys of preamble lines that name the aircraft, in the languages of the importer.
_MODEL_KEYS = frozenset(
    {"model", "modell", "modelo", "modello", "modèle", "modele", "aircraft", "aeroplane"}
    | {"airplane", "plane", "flugzeug", "avion", "avión", "aereo", "vliegtuig", "letadlo"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """What is known of one set of columns of one aircraft.

    ``header`` is the importer's fingerprint of the header, by which column maps go. In a long
    layout all aircraft share a header, which is why ``fingerprint`` is that of the columns.
    """

    aircraft: str
    fingerprint: str
    header: str
    columns: tuple[str, ...]
    settings: Mapping[str, str]
    models: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        """As plain values for JSON."""
        return asdict(self) | {"settings": dict(self.settings)}

    @classmethod
    def of(cls, doc: Mapping[str, Any]) -> Learnt:
        """From plain values.

        Raises
        ------
        BookError
            If something is missing or of another kind.
        """
        try:
            return cls(
                aircraft=aircraft_key(str(doc["aircraft"])),
                fingerprint=str(doc["fingerprint"]),
                header=str(doc["header"]),
                columns=tuple(str(v) for v in doc["columns"]),
                settings={str(k): str(v) for k, v in doc["settings"].items()},
                models=tuple(str(v) for v in doc["models"]),
            )
        except (KeyError, TypeError, AttributeError) as error:
            raise BookError("this learnt header is damaged") from error

    def with_log(self, clues: Clues, settings: Mapping[str, str]) -> Learnt:
        """What is known after one more log; its settings replace older ones of that column."""
        known = not clues.model or clues.model in self.models
        return Learnt(
            aircraft=self.aircraft,
            fingerprint=self.fingerprint,
            header=self.header,
            columns=self.columns,
            settings=dict(self.settings) | _by_title(settings, clues.columns),
            models=self.models if known else (*self.models, clues.model),
        )

    def keep(self, places: Places) -> None:
        """Write it into the book, where it is not there already."""
        path = places.learnt(self.aircraft, self.fingerprint)
        with suppress(BookError):
            if path.exists() and load_learnt(path) == self:
                return
        write_sealed(path, self.document())


def load_learnt(path: Path) -> Learnt:
    """What a file of the book knows of one set of columns; BookError if it is damaged."""
    try:
        doc = read_sealed(path)
    except BookError:
        doc = read_json(path)  # books of older layouts have no hash in it
        if "sha256" in doc:
            raise
    return Learnt.of(doc)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clues:
    """What a log tells of its aircraft; ``model`` is "" where its preamble names none."""

    fingerprint: str
    header: str
    columns: tuple[str, ...]
    model: str
    words: str

    def name(self, aircraft: str) -> bool:
        """Whether the model or the file's name holds the aircraft's name."""
        wanted = f" {_words(aircraft)} "
        return wanted in f" {self.words} " or wanted in f" {_words(self.model)} "

    def new(self, aircraft: str) -> Learnt:
        """What is known of these columns and an aircraft before any log was assigned."""
        return Learnt(
            aircraft=aircraft,
            fingerprint=self.fingerprint,
            header=self.header,
            columns=self.columns,
            settings={},
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AircraftGuess:
    """The aircraft that a log belongs to, or those it may belong to.

    ``aircraft`` is None where it is not sure; ``reason`` says why it is, or is not.
    """

    aircraft: str | None
    candidates: tuple[str, ...]
    reason: str


def _words(text: str) -> str:
    return " ".join(re.sub(r"[\W_]+", " ", text.lower()).split())


def _by_title(settings: Mapping[str, str], columns: tuple[str, ...]) -> dict[str, str]:
    """Settings as column maps hold them: by the column's title, not by its number or nearly so."""
    from telemetry.importer.names.settings import find_column

    found = {}
    for key, reading in settings.items():
        if key == PARTS:
            continue
        title = key
        with suppress(UnknownSetting):
            title = key if key.startswith("@") else columns[find_column(key, columns, columns)]
        found[title] = reading
    return found


def clues_of(log: Log) -> Clues:
    """What the columns, the preamble and the file's name tell."""
    return _clues(log.channels, log.provenance)


def clues_of_flight(path: Path) -> Clues:
    """The same of a flight of the book, without its samples; BookError if it is damaged."""
    schema = schema_of(path)
    return _clues(channels_in(schema, path), provenance_in(schema, path))


def model_in(preamble: Iterable[tuple[str, str]]) -> str:
    """The model that the lines above a table name, in lower case; "" where they name none."""
    named = (v for k, v in preamble if k.strip().lower() in _MODEL_KEYS)
    return " ".join(next(named, "").lower().split())


def _clues(channels: Sequence[Channel], provenance: Provenance) -> Clues:
    columns = tuple(c.column for c in channels)
    digest = hashlib.sha256("\x1f".join(columns).encode("utf-8", "surrogatepass")).hexdigest()
    return Clues(
        fingerprint=digest[:32],
        header=provenance.header,
        columns=columns,
        model=model_in(provenance.preamble),
        words=_words(PurePath(provenance.file.replace("\\", "/")).stem),
    )


def owners(model: str, learnt: Iterable[Learnt], everyone: tuple[str, ...]) -> tuple[str, ...]:
    """The aircraft whose logs name that model in their header; else the one of that name."""
    found = {x.aircraft for x in learnt if model and model in x.models}
    return tuple(sorted(found)) or tuple(a for a in everyone if a == model_key(model))


def model_key(model: str) -> str | None:
    """The name that a header gives an aircraft, as the book keeps it; None where it cannot."""
    try:
        return aircraft_key(model)
    except BookError:
        return None


def guess(clues: Clues, learnt: Iterable[Learnt], everyone: tuple[str, ...]) -> AircraftGuess:
    """The aircraft of a log.

    A header that names the model decides, also where the book does not know it yet: it was set in
    the transmitter, not typed by hand. Else the columns do, and the file's name where several
    aircraft have them.

    Parameters
    ----------
    clues : Clues
    learnt : iterable of Learnt
        What is known of every set of columns of every aircraft.
    everyone : tuple of str
        All aircraft of the book.
    """
    every = tuple(learnt)
    same = tuple(x for x in every if x.fingerprint == clues.fingerprint)
    whose = owners(clues.model, every, everyone)
    key = model_key(clues.model)
    if len(whose) == 1 or (not whose and key is not None):
        name = whose[0] if whose else key
        return AircraftGuess(
            aircraft=name, candidates=(name or "",), reason=f"its header names '{clues.model}'"
        )
    if whose:
        same = tuple(x for x in same if x.aircraft in whose)
    elif not same:
        reason = "no aircraft of the book has these columns" if everyone else "the book is empty"
        return AircraftGuess(aircraft=None, candidates=everyone, reason=reason)
    named = [a for a in everyone if clues.name(a)]
    candidates = tuple(x.aircraft for x in same) or whose
    both = tuple(a for a in candidates if a in named)
    if len(both) == 1:
        return AircraftGuess(
            aircraft=both[0], candidates=both, reason="its columns and its name are known"
        )
    if named and not both:
        return AircraftGuess(
            aircraft=None,
            candidates=tuple(sorted({*candidates, *named})),
            reason="its columns are one aircraft's and its name another's",
        )
    if len(candidates) > 1:
        reason = f"the headers of several name '{clues.model}'" if whose else ""
        return AircraftGuess(
            aircraft=None,
            candidates=candidates,
            reason=reason or "several aircraft have these columns",
        )
    return AircraftGuess(
        aircraft=candidates[0], candidates=candidates, reason="its columns are known"
    )


def column_maps(learnt: Iterable[Learnt]) -> tuple[ColumnMap, ...]:
    """What was settled about the columns of each header, as the importer takes it.

    A header that is read in different ways for different aircraft has none: what holds is not known
    before it is known whose log it is. Nor has a column that one aircraft had settled in two ways.
    """
    from telemetry.importer import ColumnMap

    by_header: dict[str, dict[str, dict[str, set[str]]]] = {}
    for one in learnt:
        columns = by_header.setdefault(one.header, {}).setdefault(one.aircraft, {})
        for column, reading in one.settings.items():
            if not column.startswith("@"):
                columns.setdefault(column, set()).add(reading)
    maps = []
    for header, aircraft in by_header.items():
        ways = [
            {column: min(readings) for column, readings in columns.items() if len(readings) == 1}
            for columns in aircraft.values()
        ]
        if header and ways[0] and all(way == ways[0] for way in ways):
            maps.append(ColumnMap(name=min(aircraft), fingerprint=header, readings=ways[0]))
    return tuple(maps)
