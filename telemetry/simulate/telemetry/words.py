"""Plain words for headers: place and quantity in several languages, composed, never recalled."""

from __future__ import annotations

from telemetry.model.channels import Quantity

LANGUAGES: tuple[str, ...] = ("en", "de", "fr", "es", "it", "cs")

# English, German, French, Spanish, Italian, Czech.
_QUANTITY: dict[Quantity, tuple[str, str, str, str, str, str]] = {
    Quantity.VOLTAGE: ("voltage", "Spannung", "tension", "tensión", "tensione", "napětí"),
    Quantity.CELL_VOLTAGE: (
        "cell voltage",
        "Zellenspannung",
        "tension cellule",
        "tensión celda",
        "tensione cella",
        "napětí článku",
    ),
    Quantity.CURRENT: ("current", "Strom", "courant", "corriente", "corrente", "proud"),
    Quantity.CONSUMED: (
        "consumed",
        "Verbrauch",
        "consommation",
        "consumo",
        "consumo",
        "spotřeba",
    ),
    Quantity.REMAINING: ("remaining", "Rest", "restant", "restante", "residuo", "zbývá"),
    Quantity.POWER: ("power", "Leistung", "puissance", "potencia", "potenza", "výkon"),
    Quantity.TEMPERATURE: (
        "temperature",
        "Temperatur",
        "température",
        "temperatura",
        "temperatura",
        "teplota",
    ),
    Quantity.LINK: (
        "link quality",
        "Verbindungsqualität",
        "qualité liaison",
        "calidad enlace",
        "qualità collegamento",
        "kvalita spojení",
    ),
    Quantity.LOST: (
        "lost packets",
        "verlorene Pakete",
        "paquets perdus",
        "paquetes perdidos",
        "pacchetti persi",
        "ztracené pakety",
    ),
    Quantity.UPTIME: (
        "uptime",
        "Betriebszeit",
        "durée marche",
        "tiempo encendido",
        "tempo acceso",
        "doba zapnutí",
    ),
    Quantity.ALTITUDE: ("altitude", "Höhe", "altitude", "altitud", "quota", "výška"),
    Quantity.SPEED: ("speed", "Geschwindigkeit", "vitesse", "velocidad", "velocità", "rychlost"),
    Quantity.CONTROL: ("stick", "Knüppel", "manche", "mando", "comando", "páka"),
}

_WORD: dict[str, tuple[str, str, str, str, str, str]] = {
    "pack": ("pack", "Akku", "batterie", "batería", "batteria", "baterie"),
    "bus": ("bus", "Bus", "bus", "bus", "bus", "sběrnice"),
    "regulator": ("regulator", "Regler", "régulateur", "regulador", "regolatore", "regulátor"),
    "receiver": ("receiver", "Empfänger", "récepteur", "receptor", "ricevente", "přijímač"),
    "node": ("node", "Knoten", "noeud", "nodo", "nodo", "uzel"),
    "left wing": (
        "left wing",
        "Fläche links",
        "aile gauche",
        "ala izquierda",
        "ala sinistra",
        "levé křídlo",
    ),
    "right wing": (
        "right wing",
        "Fläche rechts",
        "aile droite",
        "ala derecha",
        "ala destra",
        "pravé křídlo",
    ),
    "tail": ("tail", "Heck", "queue", "cola", "coda", "ocas"),
    "fuselage": ("fuselage", "Rumpf", "fuselage", "fuselaje", "fusoliera", "trup"),
    "aileron": ("aileron", "Querruder", "aileron", "alerón", "alettone", "křidélko"),
    "elevator": (
        "elevator",
        "Höhenruder",
        "profondeur",
        "profundidad",
        "elevatore",
        "výškovka",
    ),
    "rudder": ("rudder", "Seitenruder", "direction", "dirección", "timone", "směrovka"),
    "throttle": ("throttle", "Gas", "gaz", "gas", "gas", "plyn"),
    "flap": ("flap", "Klappe", "volet", "flap", "flap", "klapka"),
    "aircraft": ("", "", "", "", "", ""),
}

_EXTREME: dict[str, tuple[str, str, str, str, str, str]] = {
    "min": ("lowest", "tiefste", "min", "mín", "min", "min"),
    "max": ("highest", "höchste", "max", "máx", "max", "max"),
}
_TIME = ("Time", "Zeit", "Temps", "Tiempo", "Tempo", "Čas")
_DATE = ("Date", "Datum", "Date", "Fecha", "Data", "Datum")
_SENSOR = ("Sensor", "Sensor", "Capteur", "Sensor", "Sensore", "Senzor")
_NAME = ("Name", "Name", "Nom", "Nombre", "Nome", "Název")
_VALUE = ("Value", "Wert", "Valeur", "Valor", "Valore", "Hodnota")
_UNIT = ("Unit", "Einheit", "Unité", "Unidad", "Unità", "Jednotka")
_MODEL = ("Model", "Modell", "Modèle", "Modelo", "Modello", "Model")
_FIELDS = {
    "time": _TIME,
    "date": _DATE,
    "sensor": _SENSOR,
    "name": _NAME,
    "value": _VALUE,
    "unit": _UNIT,
    "model": _MODEL,
}


def field_word(language: str, which: str) -> str:
    """Word for "time", "date", "sensor", "name", "value", "unit" or "model"."""
    return _FIELDS[which][LANGUAGES.index(language)]


def place_words(language: str, place: str) -> str:
    """Words for a canonical place; its number kept, unknown places as they are."""
    head, _, number = place.rpartition(" ")
    base, tail = (head, f" {number}") if number.isdigit() else (place, "")
    known = _WORD.get(base)
    return (known[LANGUAGES.index(language)] if known else base) + tail


def quantity_words(language: str, quantity: Quantity, cell: int | None = None) -> str:
    """Words for a quantity; the cell's number behind."""
    words = _QUANTITY[quantity][LANGUAGES.index(language)]
    return words if cell is None else f"{words} {cell}"


def extreme_word(language: str, hold: str) -> str:
    """Word for a minimum- or maximum-hold; "" for plain readings."""
    return _EXTREME[hold][LANGUAGES.index(language)] if hold else ""
