"""Random logs written in random dialects are read back equal.

The writer below is this test's own and knows nothing of the importer: it composes headers from
words of seven languages, places and units, and prints numbers and times in many forms.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from telemetry import read_log

# (voltage, current, consumed, temperature) and places by language; {} takes the number.
WORDS = {
    "en": ("Voltage", "Current", "Consumed", "Temperature"),
    "de": ("Spannung", "Strom", "Kapazität", "Temperatur"),
    "fr": ("Tension", "Courant", "Capacité consommée", "Température"),
    "es": ("Tensión", "Corriente", "Capacidad consumida", "Temperatura"),
    "it": ("Tensione", "Corrente", "Capacità consumata", "Temperatura"),
    "nl": ("Spanning", "Stroom", "Verbruik", "Temperatuur"),
    "cs": ("Napětí", "Proud", "Spotřeba", "Teplota"),
}
PLACES = {
    "pack 1": {"en": "Battery 1", "de": "Akku 1", "fr": "Accu 1", "es": "Batería 1",
               "it": "Batteria 1", "nl": "Accu 1", "cs": "Baterie 1"},
    "pack 2": {"en": "Pack 2", "de": "Akku 2", "fr": "Batterie 2", "es": "Batería 2",
               "it": "Batteria 2", "nl": "Accu 2", "cs": "Akumulátor 2"},
    "left wing": {"en": "Left wing", "de": "Fläche links", "fr": "Aile gauche",
                  "es": "Ala izquierda", "it": "Ala sinistra", "nl": "Vleugel links",
                  "cs": "Křídlo levé"},
    "right wing": {"en": "Right panel", "de": "Tragfläche rechts", "fr": "Aile droite",
                   "es": "Ala derecha", "it": "Ala destra", "nl": "Vleugel rechts",
                   "cs": "Křídlo pravé"},
    "tail": {"en": "Tail", "de": "Leitwerk", "fr": "Empennage", "es": "Cola", "it": "Coda",
             "nl": "Staart", "cs": "Ocas"},
    "node 3": {"en": "Node 3", "de": "Knoten 3", "fr": "Noeud 3", "es": "Nodo 3",
               "it": "Nodo 3", "nl": "Knoop 3", "cs": "Uzel 3"},
    "bus": {"en": "Bus", "de": "Verteiler", "fr": "Répartiteur", "es": "Distribuidor",
            "it": "Distribuzione", "nl": "Verdeler", "cs": "Rozvaděč"},
    "receiver 1": {"en": "Receiver 1", "de": "Empfänger 1", "fr": "Récepteur 1",
                   "es": "Receptor 1", "it": "Ricevente 1", "nl": "Ontvanger 1",
                   "cs": "Přijímač 1"},
}  # fmt: skip
QUANTITIES = ("voltage", "current", "consumed", "temperature")
TIME_WORD = {"en": "Time", "de": "Zeit", "fr": "Temps", "es": "Tiempo", "it": "Tempo",
             "nl": "Tijd", "cs": "Čas"}  # fmt: skip
DATE_WORD = {"en": "Date", "de": "Datum", "fr": "Date", "es": "Fecha", "it": "Data",
             "nl": "Datum", "cs": "Datum"}  # fmt: skip
# Unit as printed, and how many of it make one of the canonical unit.
UNITS = {
    "voltage": (("V", 1), ("mV", 1000)),
    "current": (("A", 1), ("mA", 1000)),
    "consumed": (("mAh", 1), ("Ah", Decimal("0.001"))),
    "temperature": (("°C", 1),),
}
START = datetime(2026, 10, 17, 9, 58, 31)


@dataclass(frozen=True)
class Channel:
    place: str
    quantity: str
    unit: str
    scale: Decimal
    values: tuple[Decimal | None, ...]  # in the printed unit

    @property
    def key(self) -> str:
        return f"{self.place}/{self.quantity}"

    def expected(self) -> np.ndarray:
        return np.array([np.nan if v is None else float(v / self.scale) for v in self.values])


@dataclass(frozen=True)
class Dialect:
    language: str
    separator: str
    decimal: str
    group: str
    quote: int
    encoding: str
    line_end: str
    preamble: int
    comments: bool
    unit_style: str
    place_first: bool
    time_form: str
    blank: str
    trailing: bool
    final_newline: bool
    layout: str


def _values(draw: st.DrawFn, quantity: str, scale: Decimal, rows: int) -> tuple:
    digits = draw(st.integers(1, 3))
    step = Decimal(1).scaleb(-digits)
    low, high = {
        "voltage": (5, 9),
        "current": (1, 19),
        "consumed": (40, 900),
        "temperature": (-9, 70),
    }[quantity]
    count = int((high - low) / step)
    picks = draw(st.lists(st.integers(0, count), min_size=rows, max_size=rows))
    blanks = (
        draw(st.lists(st.booleans(), min_size=rows, max_size=rows))
        if draw(st.booleans())
        else [False] * rows
    )
    blanks[0] = False
    if quantity == "consumed":
        picks = sorted(picks)
    out = []
    for pick, blank in zip(picks, blanks, strict=True):
        value = (Decimal(low) + pick * step) * scale
        if quantity in ("voltage", "current") and scale == 1000:
            value = value.to_integral_value()
        out.append(None if blank else value.normalize() if scale == 1000 else value)
    return tuple(out)


@st.composite
def logs(draw: st.DrawFn) -> tuple[tuple[Decimal, ...], tuple[Channel, ...]]:
    rows = draw(st.integers(4, 40))
    steps = draw(st.lists(st.integers(2, 60), min_size=rows, max_size=rows))
    ticks = np.cumsum([0, *steps[:-1]])
    times = tuple(Decimal(int(t)) / 100 for t in ticks)
    pairs = draw(
        st.lists(
            st.tuples(st.sampled_from(sorted(PLACES)), st.sampled_from(QUANTITIES)),
            min_size=2,
            max_size=9,
            unique=True,
        )
    )
    channels = []
    for place, quantity in pairs:
        unit, scale = draw(st.sampled_from(UNITS[quantity]))
        values = _values(draw, quantity, Decimal(scale), rows)
        channels.append(Channel(place, quantity, unit, Decimal(scale), values))
    return times, tuple(channels)


@st.composite
def dialects(draw: st.DrawFn) -> Dialect:
    decimal = draw(st.sampled_from(".,"))
    separators = ["\t", ";", "|"] + ([","] if decimal == "." else [])
    layout = draw(st.sampled_from(["wide", "wide", "wide", "long"]))
    return Dialect(
        language=draw(st.sampled_from(sorted(WORDS))),
        separator=draw(st.sampled_from(separators)),
        decimal=decimal,
        group=draw(st.sampled_from(["", "", "", "'", " "] + (["."] if decimal == "," else []))),
        quote=draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_MINIMAL, csv.QUOTE_ALL])),
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-be-bom", "cp1250"])),
        line_end=draw(st.sampled_from(["\n", "\r\n", "\r"])),
        preamble=draw(st.integers(0, 3)),
        comments=draw(st.booleans()),
        unit_style=draw(st.sampled_from(["[]", "()", ",", " ", "_", "row"])),
        place_first=draw(st.booleans()),
        time_form=draw(
            st.sampled_from(
                ["s", "ms", "clock", "iso", "isoz", "date+time", "epoch", "epoch ms", "mm:ss"]
            )
        ),
        blank=draw(st.sampled_from(["", "", "-", "---", "nan", "n/a"])),
        trailing=draw(st.booleans()) and layout == "wide",
        final_newline=draw(st.booleans()),
        layout=layout,
    )


def _number(value: Decimal, d: Dialect) -> str:
    text = f"{value:,f}" if d.group else f"{value:f}"
    return text.replace(",", "\0").replace(".", d.decimal).replace("\0", d.group)


def _times(times: tuple[Decimal, ...], d: Dialect) -> tuple[list[str], list[list[str]]]:
    word, date = TIME_WORD[d.language], DATE_WORD[d.language]
    moments = [START + timedelta(milliseconds=int(t * 1000)) for t in times]
    clocks = [f"{m:%H:%M:%S}{d.decimal}{m.microsecond // 1000:03d}" for m in moments]
    if d.time_form == "s":
        return [f"{word} [s]"], [[f"{t:f}".replace(".", d.decimal)] for t in times]
    if d.time_form == "ms":
        return [f"{word} (ms)"], [[str(int(t * 1000))] for t in times]
    if d.time_form == "clock":
        return [word], [[c] for c in clocks]
    if d.time_form == "iso":
        return [word], [[f"{m:%Y-%m-%dT%H:%M:%S}.{m.microsecond // 1000:03d}"] for m in moments]
    if d.time_form == "isoz":
        return [word], [[f"{m:%Y-%m-%d %H:%M:%S}.{m.microsecond // 1000:03d}Z"] for m in moments]
    if d.time_form == "date+time":
        form = "%d.%m.%Y" if d.decimal == "," else "%Y-%m-%d"
        return [date, word], [[f"{m:{form}}", c] for m, c in zip(moments, clocks, strict=True)]
    if d.time_form == "epoch":
        base = int((START - datetime(1970, 1, 1)).total_seconds())
        return [word], [[f"{base + t:f}".replace(".", d.decimal)] for t in times]
    if d.time_form == "epoch ms":
        base = int((START - datetime(1970, 1, 1)).total_seconds()) * 1000
        return [word], [[str(base + int(t * 1000))] for t in times]
    cells = [f"{int(t) // 60:02d}:{int(t) % 60:02d}{d.decimal}{int(t * 100) % 100:02d}"
             for t in times]  # fmt: skip
    return [word], [[c] for c in cells]


def _name(channel: Channel, d: Dialect) -> str:
    quantity = WORDS[d.language][QUANTITIES.index(channel.quantity)]
    place = PLACES[channel.place][d.language]
    name = f"{place} {quantity}" if d.place_first else f"{quantity} {place}"
    if d.unit_style == "_":
        name = name.replace(" ", "_")
    return name


def _with_unit(name: str, unit: str, d: Dialect) -> str:
    return {
        "[]": f"{name} [{unit}]",
        "()": f"{name}({unit})",
        ",": f"{name}, {unit}",
        " ": f"{name} {unit}",
        "_": f"{name}_{unit}",
        "row": name,
    }[d.unit_style]


def write(times: tuple[Decimal, ...], channels: tuple[Channel, ...], d: Dialect) -> bytes:
    heads, stamps = _times(times, d)
    body = io.StringIO()
    writer = csv.writer(
        body,
        delimiter=d.separator,
        quoting=d.quote,
        lineterminator=d.line_end,  # type: ignore[arg-type]
    )
    preamble = ["Model: Invented tern", "Firmware: 1.2", "Recorder"]
    for line in preamble[: d.preamble]:
        body.write(("# " if d.comments else "") + line + d.line_end)
    extra = [""] if d.trailing else []
    if d.layout == "wide":
        names = [_with_unit(_name(c, d), c.unit, d) for c in channels]
        writer.writerow([*heads, *names, *extra])
        if d.unit_style == "row":
            writer.writerow([*[""] * len(heads), *[c.unit for c in channels], *extra])
        for i, stamp in enumerate(stamps):
            cells = [d.blank if c.values[i] is None else _number(c.values[i], d) for c in channels]
            writer.writerow([*stamp, *cells, *extra])
    else:
        writer.writerow([*heads, "Sensor", "Name", "Value", "Unit"])
        for i, stamp in enumerate(stamps):
            for c in channels:
                quantity = WORDS[d.language][QUANTITIES.index(c.quantity)]
                value = d.blank if c.values[i] is None else _number(c.values[i], d)
                writer.writerow([*stamp, PLACES[c.place][d.language], quantity, value, c.unit])
    text = body.getvalue()
    if not d.final_newline:
        text = text[: -len(d.line_end)]
    if d.encoding == "utf-16-be-bom":
        return b"\xfe\xff" + text.encode("utf-16-be")
    return text.encode(d.encoding, errors="replace")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("random-logs")


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
@given(log=logs(), dialect=dialects())
def test_random_logs_in_random_dialects_are_read_back_equal(log, dialect, folder: Path) -> None:
    times, channels = log
    path = folder / "log.csv"
    path.write_bytes(write(times, channels, dialect))
    read = read_log(path)
    got = {c.key for c in read.channels if c.key in read.frame.columns}
    assert got == {c.key for c in channels}, [(c.column, c.key, c.reason) for c in read.channels]
    np.testing.assert_allclose(read.time_s, [float(t) for t in times], rtol=0, atol=2e-6)
    for channel in channels:
        np.testing.assert_array_equal(read.values(channel.key), channel.expected())
    rows = len(times) * (1 if dialect.layout == "wide" else len(channels))
    assert (read.provenance.rows, read.provenance.rows_refused) == (rows, 0)
    assert read.provenance.layout == dialect.layout
