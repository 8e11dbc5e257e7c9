"""Headers as people and their devices write them: words of several languages, codes, units.

Words are those of a dictionary or of the trade; every code is made up here.
"""

from __future__ import annotations

from dataclasses import dataclass

from numpy.random import Generator

QUANTITIES = ("voltage", "current", "consumed", "temperature", "control", "height", "link")
UNITS = {
    "voltage": "V",
    "current": "A",
    "consumed": "mAh",
    "temperature": "\N{DEGREE SIGN}C",
    "control": "%",
    "height": "m",
    "link": "%",
}
WORDS: dict[str, dict[str, str]] = {
    "en": {
        "voltage": "voltage", "current": "current", "consumed": "charge used",
        "temperature": "temperature", "control": "control", "height": "altitude", "link": "link",
        "bus": "bus", "pack 1": "battery 1", "pack 2": "battery 2", "left wing": "left wing",
        "right wing": "right wing", "tail": "tail", "nose": "nose", "left tail": "left tailplane",
        "right tail": "right tailplane", "upper wing": "upper wing", "lower wing": "lower wing",
        "aileron": "aileron", "elevator": "elevator", "rudder": "rudder",
        "throttle": "throttle", "flap": "flaps", "time": "time",
    },
    "de": {
        "voltage": "Spannung", "current": "Strom", "consumed": "Verbrauch",
        "temperature": "Temperatur", "control": "Steuerung", "height": "H\xf6he", "link": "Empfang",
        "bus": "Bus", "pack 1": "Akku 1", "pack 2": "Akku 2", "left wing": "Fl\xe4che links",
        "right wing": "Fl\xe4che rechts", "tail": "Heck", "nose": "Nase",
        "left tail": "Leitwerk links", "right tail": "Leitwerk rechts",
        "upper wing": "Fl\xfcgel oben", "lower wing": "Fl\xfcgel unten", "aileron": "Querruder",
        "elevator": "H\xf6henruder", "rudder": "Seitenruder", "throttle": "Gas",
        "flap": "Klappen", "time": "Zeit",
    },
    "fr": {
        "voltage": "tension", "current": "courant", "consumed": "charge consomm\xe9e",
        "temperature": "temp\xe9rature", "control": "commande", "height": "altitude",
        "link": "liaison", "bus": "bus", "pack 1": "batterie 1", "pack 2": "batterie 2",
        "left wing": "aile gauche", "right wing": "aile droite", "tail": "queue", "nose": "nez",
        "left tail": "empennage gauche", "right tail": "empennage droit",
        "upper wing": "aile haute", "lower wing": "aile basse", "aileron": "aileron",
        "elevator": "profondeur", "rudder": "direction", "throttle": "gaz", "flap": "volets",
        "time": "temps",
    },
    "es": {
        "voltage": "tensi\xf3n", "current": "corriente", "consumed": "carga consumida",
        "temperature": "temperatura", "control": "mando", "height": "altitud", "link": "enlace",
        "bus": "bus", "pack 1": "bater\xeda 1", "pack 2": "bater\xeda 2",
        "left wing": "ala izquierda", "right wing": "ala derecha", "tail": "cola",
        "nose": "morro", "left tail": "estabilizador izquierdo",
        "right tail": "estabilizador derecho", "upper wing": "ala superior",
        "lower wing": "ala inferior", "aileron": "aler\xf3n", "elevator": "profundidad",
        "rudder": "direcci\xf3n", "throttle": "gas", "flap": "flaps", "time": "tiempo",
    },
}  # fmt: skip
# Codes of places and letters of quantities; each row one hand's habit.
CODES: tuple[dict[str, str], ...] = (
    {
        "bus": "B", "pack 1": "P1", "pack 2": "P2", "left wing": "WL", "right wing": "WR",
        "tail": "T", "nose": "N", "left tail": "TL", "right tail": "TR", "upper wing": "WU",
        "lower wing": "WD", "voltage": "U", "current": "I", "consumed": "Q",
        "temperature": "Temp",
    },
    {
        "bus": "Main", "pack 1": "Bat1", "pack 2": "Bat2", "left wing": "LWing",
        "right wing": "RWing", "tail": "Tail", "nose": "Nose", "left tail": "LTail",
        "right tail": "RTail", "upper wing": "UWing", "lower wing": "DWing", "voltage": "V",
        "current": "A", "consumed": "mAh", "temperature": "T",
    },
    {
        "bus": "Bus", "pack 1": "AkkuA", "pack 2": "AkkuB", "left wing": "FlLi",
        "right wing": "FlRe", "tail": "Heck", "nose": "Nase", "left tail": "LwLi",
        "right tail": "LwRe", "upper wing": "FlOb", "lower wing": "FlUn", "voltage": "U",
        "current": "I", "consumed": "C", "temperature": "T",
    },
)  # fmt: skip
STYLES = ("words", "words", "quantity first", "codes", "codes", "snake")


@dataclass(frozen=True, kw_only=True)
class Labels:
    """One way to write headers, and the file around them."""

    style: str
    language: str
    codes: int
    glue: str
    unit: str  # "[]", "()", ",", "" for none
    milli: bool
    separator: str
    decimal: str
    encoding: str
    time: str  # "s", "clock", "ms", "date and clock"
    preamble: bool
    blank: str

    def place(self, place: str) -> str:
        """A place in the words of the header."""
        if self.style == "codes":
            return CODES[self.codes].get(place, place.capitalize())
        word = WORDS[self.language].get(place, place)
        return word.replace(" ", "_") if self.style == "snake" else word

    def unit_of(self, quantity: str) -> str:
        unit = UNITS[quantity]
        return f"m{unit}" if self.milli and unit in ("V", "A") else unit

    def header(self, place: str, quantity: str) -> str:
        """The header of one column."""
        spoken, own = WORDS[self.language], self.place(place)
        if self.style == "codes":
            name = f"{own}{self.glue}{CODES[self.codes].get(quantity, '')}".removesuffix(self.glue)
        elif quantity in ("control", "height", "link"):
            name = own if quantity == "control" else spoken[quantity]
        elif self.style == "quantity first":
            name = f"{spoken[quantity]}{self.glue}{own}"
        else:
            name = f"{own}{self.glue}{spoken[quantity]}"
        if self.style == "codes" and quantity in ("height", "link"):
            name = {"height": "Alt", "link": "Link"}[quantity]
        if self.style == "snake":
            name = name.lower().replace(" ", "_")
        unit = self.unit_of(quantity)
        suffix = {"[]": f" [{unit}]", "()": f" ({unit})", ",": f", {unit}", "": ""}[self.unit]
        if self.style == "snake" and suffix:
            suffix = f"_{unit}"
        return name + suffix


def random_labels(rng: Generator) -> Labels:
    """A way to write, drawn at random; decimal mark and separator never collide."""
    style = str(rng.choice(STYLES))
    unit = str(rng.choice(["[]", "()", ",", ""]))
    separator = str(rng.choice([",", ";", ";", "\t"]))
    if separator == "," and unit == ",":
        unit = "[]"
    return Labels(
        style=style,
        language=str(rng.choice(list(WORDS))),
        codes=int(rng.integers(len(CODES))),
        glue=str(rng.choice([" ", " ", "."])) if style == "codes" else " ",
        unit=unit,
        milli=bool(rng.random() < 0.2) and unit != "",
        separator=separator,
        decimal="." if separator == "," else str(rng.choice([",", "."])),
        encoding=str(rng.choice(["utf-8", "utf-8", "utf-8-sig", "cp1252"])),
        time=str(rng.choice(["s", "clock", "ms", "date and clock"])),
        preamble=bool(rng.random() < 0.4),
        blank=str(rng.choice(["", "", "-"])),
    )
