# ruff: noqa: RUF001 - letters of other alphabets are what these files are about
"""Odd names: other languages, symbols, codes, orders, ways to write a unit."""

from __future__ import annotations

from collections.abc import Callable

from tests.accuracy.odd_files.draft import Column, Draft, place_words, plain_name
from tests.accuracy.odd_files.kinds import kind
from tests.accuracy.odd_files.words import (
    ABBREVIATED,
    KEYS,
    KNOWN,
    LETTERS,
    UNKNOWN,
    made_up,
    words_of,
)

#: What two columns of one place share, and a review needs.
POWER = ("voltage", "current", "consumed", "temperature")
SIDE_CODES = {"left wing": "WL", "right wing": "WR", "left wing outer": "WLO", "tail": "HT",
              "right wing outer": "WRO", "fuselage": "RU"}  # fmt: skip
GREEK = ["alfa", "beta", "gamma", "delta", "zeta", "theta", "kappa", "lambda", "sigma"]
#: The unit tells what such a column is in any language.
BY_UNIT = ("voltage", "current", "consumed", "temperature")


def rename(d: Draft, name: Callable[[Column], str]) -> None:
    for c in d.data():
        c.name = name(c)


def in_language(language: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        words = words_of(language)
        rename(d, lambda c: plain_name(c, words))
        if not d.timed:
            d.of("time")[0].name = words["time"]
        if language in UNKNOWN:
            for c in d.data():
                c.knowable = c.quantity in BY_UNIT
        d.unit_style = str(d.rng.choice(["[]", "()", ",", " "]))

    return apply


for _language in (*KNOWN[1:], *UNKNOWN):
    kind("names", f"words-{_language}")(in_language(_language))


def _unit_style(style: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        d.unit_style = style

    return apply


for _name, _style in (
    ("unit-round", "()"),
    ("unit-slash", "/"),
    ("unit-blank", " "),
    ("unit-comma", ","),
    ("unit-underscore", "_"),
    ("unit-glued", "()tight"),
    ("unit-in", "in"),
    ("unit-first", "first"),
    ("unit-none", "none"),
):
    kind("names", _name)(_unit_style(_style))


@kind("names", "quantity-first")
def quantity_first(d: Draft) -> None:
    words = words_of("english")
    rename(
        d,
        lambda c: (
            f"{words[c.quantity]} {place_words(c.place, words)}"
            if c.place and c.quantity in words
            else plain_name(c, words)
        ),
    )


@kind("names", "quantity-first-dash")
def quantity_first_dash(d: Draft) -> None:
    words = words_of(str(d.rng.choice(["english", "german", "italian"])))
    rename(
        d,
        lambda c: (
            f"{words[c.quantity]} - {place_words(c.place, words)}"
            if c.place and c.quantity in words
            else plain_name(c, words)
        ),
    )


def _cased(join: Callable[[list[str]], str], unit_style: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        words = words_of(str(d.rng.choice(["english", "german", "french"])))
        rename(d, lambda c: join(plain_name(c, words).split()))
        d.unit_style = unit_style

    return apply


kind("names", "camel-case")(
    _cased(lambda w: w[0].lower() + "".join(x.title() for x in w[1:]), "()")
)
kind("names", "pascal-case")(_cased(lambda w: "".join(x.title() for x in w), "_"))
kind("names", "snake-case")(_cased(lambda w: "_".join(w).lower(), "_"))
kind("names", "kebab-case")(_cased(lambda w: "-".join(w).lower(), "[]"))
kind("names", "dotted")(_cased(lambda w: ".".join(w).lower(), "[]"))
kind("names", "colon")(
    _cased(lambda w: ": ".join([" ".join(w[:-1]), w[-1]]) if w[1:] else w[0], "[]")
)
kind("names", "upper-case")(_cased(lambda w: " ".join(w).upper(), "()"))
kind("names", "snake-no-unit")(_cased(lambda w: "_".join(w).lower(), "none"))


@kind("names", "abbreviated")
def abbreviated(d: Draft) -> None:
    rename(
        d,
        lambda c: (
            f"{_short(c.place)} {ABBREVIATED.get(c.quantity, c.quantity)}".strip()
            if c.quantity not in ("control", "unknown")
            else _short(c.place)
        ),
    )


@kind("names", "abbreviated-no-unit")
def abbreviated_no_unit(d: Draft) -> None:
    abbreviated(d)
    d.unit_style = "none"


def _short(place: str) -> str:
    if place in ABBREVIATED:
        return ABBREVIATED[place]
    head, _, number = place.rpartition(" ")
    return f"{ABBREVIATED.get(head, head)}{number}"


def _letters(where: str, unit: str, places: str) -> Callable[[Draft], None]:
    """Quantities as letters behind or before a place in words, in short, as a code or invented."""

    def apply(d: Draft) -> None:
        letters = LETTERS[d.rng.integers(len(LETTERS))]
        named = place_names(d, places)
        words = words_of("english")
        joiner = str(d.rng.choice([" ", "_", "-", "."]))

        def name(c: Column) -> str:
            if c.quantity not in letters:
                return plain_name(c, words)
            pair = (named[c.place], letters[c.quantity])
            return joiner.join(pair if where == "last" else pair[::-1])

        rename(d, name)
        d.unit_style = unit

    return apply


def place_names(d: Draft, how: str) -> dict[str, str]:
    """What the file calls each place of its power columns."""
    found = list(dict.fromkeys(c.place for c in d.of(*POWER)))
    if how == "words":
        return {p: place_words(p, words_of("english")) for p in found}
    if how == "short":
        return {p: _short(p) for p in found}
    if how == "code":
        letter = str(d.rng.choice(["D", "H", "X", "Z"]))
        return {p: f"{letter}{k}" for k, p in enumerate(found, 1)}
    if how == "side":
        return {p: SIDE_CODES.get(p) or _short(p) for p in found}
    if how == "number":
        return {p: str(k) for k, p in enumerate(found, 1)}
    if how == "greek":
        return dict(zip(found, GREEK, strict=False))
    return dict(zip(found, made_up(d.rng, len(found)), strict=True))


for _places in ("words", "short", "side", "code", "greek", "invented"):
    for _where in ("first", "last"):
        kind("names", f"letter-{_where}-{_places}")(_letters(_where, "none", _places))
kind("names", "letter-last-unit-code")(_letters("last", "[]", "code"))
kind("names", "letter-last-unit-invented")(_letters("last", "()", "invented"))
kind("names", "letter-first-unit-short")(_letters("first", "()", "short"))


@kind("names", "letter-glued-number")
def letter_glued_number(d: Draft) -> None:
    """U1, I1, U2, I2: what is what the number tells."""
    letters = LETTERS[d.rng.integers(len(LETTERS))]
    named = place_names(d, "number")
    words = words_of("english")
    rename(
        d,
        lambda c: (
            letters[c.quantity] + named[c.place] if c.quantity in letters else plain_name(c, words)
        ),
    )
    d.unit_style = str(d.rng.choice(["none", "[]"]))


@kind("names", "quantity-and-number")
def quantity_and_number(d: Draft) -> None:
    """voltage 1, current 1, voltage 2: places have numbers only."""
    named = place_names(d, "number")
    words = words_of("english")
    rename(
        d,
        lambda c: (
            f"{words[c.quantity]} {named[c.place]}" if c.quantity in POWER else plain_name(c, words)
        ),
    )


@kind("names", "place-codes")
def place_codes(d: Draft) -> None:
    named = place_names(d, "code")
    words = words_of("english")
    rename(
        d,
        lambda c: (
            f"{named[c.place]} {words[c.quantity]}" if c.quantity in POWER else plain_name(c, words)
        ),
    )


@kind("names", "unit-is-quantity")
def unit_is_quantity(d: Draft) -> None:
    """The unit alone tells the quantity: "left wing [V]", "left wing [A]"."""
    words = words_of("english")
    rename(
        d, lambda c: place_words(c.place, words) if c.quantity in POWER else plain_name(c, words)
    )
    d.unit_style = str(d.rng.choice(["[]", " ", "()"]))


@kind("names", "unit-is-quantity-code")
def unit_is_quantity_code(d: Draft) -> None:
    named = place_names(d, "code")
    words = words_of("english")
    rename(d, lambda c: named[c.place] if c.quantity in POWER else plain_name(c, words))
    d.unit_style = str(d.rng.choice(["[]", " ", "_"]))


@kind("names", "all-invented-units")
def all_invented_units(d: Draft) -> None:
    """No word is of any language; units stand beside."""
    invented(d)
    for c in d.data():
        c.knowable = c.quantity in BY_UNIT


@kind("names", "all-invented-no-units")
def all_invented_no_units(d: Draft) -> None:
    """No word is of any language and no unit is told: only volts and amperes tell themselves."""
    invented(d)
    d.unit_style = "none"
    for c in d.data():
        c.knowable = False


def invented(d: Draft) -> None:
    words = dict(zip(KEYS, made_up(d.rng, len(KEYS)), strict=True))
    named = place_names(d, "invented")

    def name(c: Column) -> str:
        if c.quantity == "unknown":
            return words["throttle"] + c.place[0]
        if c.quantity in POWER:
            return f"{named[c.place]} {words[c.quantity]}"
        return plain_name(c, words)

    rename(d, name)


def _units(written: dict[str, str], language: str) -> Callable[[Draft], None]:
    def apply(d: Draft) -> None:
        words = words_of(language)
        rename(d, lambda c: plain_name(c, words))
        for c in d.columns:
            c.written = written.get(c.unit, c.printed_unit)
            c.knowable = c.quantity in BY_UNIT or language == "english"

    return apply


SPELLED = {"V": "volts", "A": "amperes", "mAh": "milliampere hours", "degC": "degrees Celsius",
           "%": "percent", "m": "metres", "m/s": "metres per second", "s": "seconds"}  # fmt: skip
CYRILLIC = {"V": "В", "A": "А", "mAh": "мАч", "degC": "°C", "m": "м", "m/s": "м/с", "s": "с",
            "dBm": "дБм"}  # fmt: skip
kind("names", "units-spelled")(_units(SPELLED, "english"))
kind("names", "units-cyrillic", alone=True)(_units(CYRILLIC, "russian"))


@kind("names", "prefix-everywhere")
def prefix_everywhere(d: Draft) -> None:
    prefix = str(d.rng.choice(["telemetry.", "log/", "air: ", "Data "]))
    rename(d, lambda c: prefix + c.name)


@kind("names", "suffix-everywhere")
def suffix_everywhere(d: Draft) -> None:
    suffix = str(d.rng.choice([" value", " (measured)", ".val", " now"]))
    rename(d, lambda c: c.name + suffix)


@kind("names", "column-numbers")
def column_numbers(d: Draft) -> None:
    for k, c in enumerate(d.columns, 1):
        c.name = f"{k:02d} {c.name}"


@kind("names", "sensor-numbers")
def sensor_numbers(d: Draft) -> None:
    """Each place has a number of its sensor before its words."""
    places = list(dict.fromkeys(c.place for c in d.data()))
    rename(d, lambda c: f"{places.index(c.place) + 1}#{c.name}")


@kind("names", "mixed-languages")
def mixed_languages(d: Draft) -> None:
    """Places in one language, quantities in another."""
    here, there = words_of("english"), words_of(str(d.rng.choice(["german", "french", "dutch"])))
    rename(
        d,
        lambda c: (
            f"{place_words(c.place, there)} {here[c.quantity]}"
            if c.quantity in POWER
            else plain_name(c, there)
        ),
    )


@kind("names", "no-accents")
def no_accents(d: Draft) -> None:
    import unicodedata

    words = words_of(str(d.rng.choice(["german", "french", "czech", "spanish"])))
    rename(
        d,
        lambda c: "".join(
            x
            for x in unicodedata.normalize("NFKD", plain_name(c, words))
            if not unicodedata.combining(x)
        ),
    )


@kind("names", "compound-words")
def compound_words(d: Draft) -> None:
    """German compounds: "Akku1spannung", "Rumpfstrom"."""
    words = words_of("german")
    flat = {"left wing": "Flächelinks", "right wing": "Flächerechts"}
    rename(
        d,
        lambda c: (
            (
                flat.get(c.place, place_words(c.place, words).replace(" ", ""))
                + words[c.quantity].lower()
            )
            if c.quantity in POWER
            else plain_name(c, words)
        ),
    )


@kind("names", "double-blanks")
def double_blanks(d: Draft) -> None:
    rename(d, lambda c: "  " + c.name.replace(" ", "   ") + " ")


@kind("names", "shuffled-columns")
def shuffled_columns(d: Draft) -> None:
    order = d.rng.permutation(len(d.columns))
    d.columns = [d.columns[i] for i in order]


@kind("names", "grouped-by-quantity")
def grouped_by_quantity(d: Draft) -> None:
    """All voltages, then all currents, numbered in turn."""
    quantity_and_number(d)
    d.columns.sort(key=lambda c: (c.quantity != "time", c.quantity not in POWER, c.quantity))
