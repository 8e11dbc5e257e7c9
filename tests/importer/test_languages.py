"""Headers in eight further languages, and letters of other widths and scripts.

Written by hand with the words of dictionaries for this test; no header comes from a product's
export. On the right: quantity, place ("-" for none).
"""

# ruff: noqa: RUF001

from __future__ import annotations

import pytest

from telemetry.importer.names.header import readings
from telemetry.importer.names.header_cell import split_words, take_apart
from telemetry.importer.names.words import by_script, fold, meanings

NAMES = """
Napięcie pakietu 1 [V] | voltage pack 1
Prąd akumulatora 2 [A] | current pack 2
Lewe skrzydło prąd | current left wing
Napięcie prawego skrzydła | voltage right wing
Ogon napięcie | voltage tail
Pojemność zużyta akumulator 1 [mAh] | consumed pack 1
Odbiornik 1 napięcie | voltage receiver 1
Temperatura regulatora | temperature regulator
Prąd całkowity | current bus
Lotka lewa | control left aileron
Ster kierunku | control rudder
Ster wysokości | control elevator
Wysokość [m] | altitude -
Prędkość [km/h] | speed -
Siła sygnału [dBm] | link -
Szyna napięcie min | voltage bus min
Ogniwo 2 [V] | cell-voltage pack 1 c2
Batteri 1 spänning | voltage pack 1
Ström vänster vinge [A] | current left wing
Höger vinge spänning | voltage right wing
Förbrukad kapacitet batteri 2 | consumed pack 2
Mottagare 1 spänning | voltage receiver 1
Total ström | current bus
Skevroder vänster | control left aileron
Höjdroder | control elevator
Höjd [m] | altitude -
Stjärt ström | current tail
Spænding batteri 1 | voltage pack 1
Strøm højre vinge | current right wing
Venstre vinge spænding (V) | voltage left wing
Hale strøm | current tail
Modtager spænding | voltage receiver
Forbrug batteri 1 [mAh] | consumed pack 1
Sideror | control rudder
Samlet strøm | current bus
Spenning mottaker 2 | voltage receiver 2
Høyre vinge strøm [mA] | current right wing
Batteri 2 spenning | voltage pack 2
Balanseror venstre | control left aileron
Høyde (m) | altitude -
Akku 1 jännite | voltage pack 1
Vasemman siiven virta | current left wing
Oikea siipi jännite [V] | voltage right wing
Pyrstön virta | current tail
Vastaanottimen jännite | voltage receiver
Kokonaisvirta | current bus
Säädin lämpötila | temperature regulator
Siiveke vasen | control left aileron
Korkeusperäsin | control elevator
Korkeus [m] | altitude -
Kulutus akku 2 [mAh] | consumed pack 2
Bal szárny áram | current left wing
Jobb szárny feszültség [V] | voltage right wing
Akku 1 feszültség | voltage pack 1
Vevő feszültség | voltage receiver
Fogyasztás akku 2 [mAh] | consumed pack 2
Összes áram | current bus
Szabályzó hőmérséklet | temperature regulator
Oldalkormány | control rudder
Magasság (m) | altitude -
Tensão bateria 1 | voltage pack 1
Corrente da asa esquerda | current left wing
Tensão asa direita (V) | voltage right wing
Corrente cauda | current tail
Consumo bateria 2 [mAh] | consumed pack 2
Tensão do receptor | voltage receiver
Temperatura do regulador | temperature regulator
Corrente total | current bus
Leme | control rudder
Profundor | control elevator
Aileron esquerdo | control left aileron
バッテリー1電圧 | voltage pack 1
電池2 電流 | current pack 2
左翼電圧 | voltage left wing
右翼 電流［Ａ］ | current right wing
尾翼電流 | current tail
受信機１電圧（Ｖ） | voltage receiver 1
合計電流 | current bus
レギュレーター温度［℃］ | temperature regulator
エルロン左 | control left aileron
ラダー | control rudder
高度［ｍ］ | altitude -
ﾊﾞｯﾃﾘ2消費量［ｍＡｈ］ | consumed pack 2
左翼V | voltage left wing
"""


@pytest.mark.parametrize("line", NAMES.strip().splitlines())
def test_headers_of_eight_further_languages(line: str) -> None:
    name, _, want = line.rpartition(" | ")
    best = readings(take_apart(name))[0]
    got = [best.quantity, best.place or "-", best.hold, f"c{best.cell}" if best.cell else ""]
    assert " ".join(x for x in got if x) == want, best.reason


def test_letters_with_a_stroke_lose_it() -> None:
    assert fold("Skrzydło") == "skrzydlo"
    assert fold("Højre Strøm") == "hojre strom"
    assert fold("spænding") == "spaending"


def test_the_accents_of_a_short_word_make_it_another() -> None:
    for other, plain in (("sağ", "sag"), ("sín", "sin")):
        assert meanings(other) != meanings(plain)
    assert meanings("gáz") == meanings("gaz")
    assert meanings("prad") == meanings("prąd") != ()


def test_a_script_without_blanks_is_cut_into_words() -> None:
    assert by_script("左翼V") == ["左翼", "V"]
    assert by_script("wing") == ["wing"]
    assert [w.text for w in split_words("左翼電圧2V")][:3] == ["左", "翼", "電圧"]


def test_a_clock_in_other_words_is_a_time() -> None:
    for name in ("Aika [s]", "Tid", "Czas [s]", "Idő", "Tempo [s]", "時間［ｓ］"):
        assert readings(take_apart(name))[0].quantity == "time", name


def test_a_known_position_beside_unknown_words_is_a_part_of_the_place() -> None:
    """Else the inner and the outer node of a wing were one place."""
    names = ("aripa stângă", "aripa stângă exterior")
    places = {readings(take_apart(f"{name} tensiune [V]"))[0].place for name in names}
    assert len(places) == 2
    assert readings(take_apart("outer voltage [V]"))[0].place != "outer"
