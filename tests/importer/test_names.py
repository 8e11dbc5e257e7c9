"""Names as people's exports word them, in seven languages, and what they mean.

The list was written by hand for this test; no header comes from a product's export. On the right:
quantity, place ("-" for none, "*" for any), hold, cell.
"""

from __future__ import annotations

import pytest

from telemetry.importer.names.header import readings
from telemetry.importer.names.header_cell import parse_scaled, split_words, take_apart
from telemetry.importer.names.words import Role, split_compound
from telemetry.model.units import UNITS

NAMES = """
Akku 1 Spannung [V] | voltage pack 1
U Bat2 | voltage pack 2
I_ges(A) | current bus
Strom Fläche links [mA] | current left wing
Kap. A1 mAh | consumed pack 1
Servo bus voltage | voltage bus
PanelL A | current left wing
PanelR V | voltage right wing
Wing L U(V) | voltage left wing
Wing R I(A) | current right wing
Tragfläche rechts Strom | current right wing
Höhenruder | control elevator
napětí baterie 1 | voltage pack 1
courant aile gauche | current left wing
node3.vmin | voltage node 3 min
node3.v | voltage node 3
node3.a | current node 3
node3.i | current node 3
node_2_temp | temperature node 2
Gesamtstrom | current bus
Strom gesamt | current bus
total current (A) | current bus
Total A | current bus
I total | current bus
Itot | current bus
Iges | current bus
Sum current | current bus
courant total [A] | current bus
corriente total | current bus
corrente totale | current bus
totale stroom | current bus
celkový proud | current bus
Bus V | voltage bus
Bus voltage min | voltage bus min
Output voltage | voltage bus
Ausgangsspannung | voltage bus
tension de sortie | voltage bus
tensión de salida | voltage bus
tensione uscita | voltage bus
uitgangsspanning | voltage bus
výstupní napětí | voltage bus
Main unit voltage | voltage bus
Main unit temperature | temperature bus
Distribution unit V | voltage bus
Akkuweiche Spannung | voltage bus
Weiche Temp. | temperature bus
Servo rail [V] | voltage bus
Servoversorgung | voltage bus
Servospannung | voltage bus
Bordspannung | voltage bus
servo supply V | voltage bus
alimentation servos V | voltage bus
RX voltage | voltage receiver
Receiver U | voltage receiver
RX1 V | voltage receiver 1
RX 2 voltage [V] | voltage receiver 2
Receiver 1 Voltage | voltage receiver 1
Empfängerspannung 1 | voltage receiver 1
Empf. 2 U | voltage receiver 2
tension récepteur 1 | voltage receiver 1
tensión receptor | voltage receiver
tensione ricevente 2 | voltage receiver 2
ontvangerspanning | voltage receiver
napětí přijímače | voltage receiver
Ubatt1 | voltage pack 1
Ubatt 2 [mV] | voltage pack 2
UAKKU | voltage pack 1
uakku2 | voltage pack 2
UBatt | voltage pack 1
Ibat | current pack 1
I Akku 2 | current pack 2
Akkustrom 1 (mA) | current pack 1
Battery 1 V | voltage pack 1
Battery 2 A | current pack 2
Batt1 mAh | consumed pack 1
Battery1Voltage | voltage pack 1
battery1Current | current pack 1
battery_1_voltage_mv | voltage pack 1
battery_2_consumed_mah | consumed pack 2
Pack 1 used (mAh) | consumed pack 1
Pack 2 capacity used | consumed pack 2
Verbrauch Akku 1 | consumed pack 1
verbrauchte Kapazität Akku 2 [mAh] | consumed pack 2
Restkapazität Akku 1 [%] | remaining pack 1
Akku 1 Rest % | remaining pack 1
Battery 1 remaining | remaining pack 1
capacité consommée accu 1 | consumed pack 1
capacidad consumida batería 2 | consumed pack 2
capacità consumata batteria 1 | consumed pack 1
verbruikte capaciteit accu 2 | consumed pack 2
spotřebovaná kapacita baterie 2 | consumed pack 2
tension accu 2 | voltage pack 2
Tension batterie 1 (V) | voltage pack 1
tensión batería 1 | voltage pack 1
voltaje batería 2 (V) | voltage pack 2
tensione batteria 2 | voltage pack 2
accuspanning 1 | voltage pack 1
spanning accu 2 [V] | voltage pack 2
napětí akumulátoru 2 | voltage pack 2
courant accu 1 | current pack 1
corriente batería 1 | current pack 1
corrente batteria 2 | current pack 2
stroom accu 1 | current pack 1
proud baterie 2 | current pack 2
Strom Akku 1 | current pack 1
Akku A Spannung | voltage pack 1
Akku B Spannung | voltage pack 2
Main battery voltage | voltage pack 1
Backup battery voltage | voltage pack 2
Hauptakku Spannung | voltage pack 1
Reserveakku Spannung | voltage pack 2
Cell 1 (V) | cell-voltage pack 1 c1
Cell3 | cell-voltage pack 1 c3
Zelle 2 [V] | cell-voltage pack 1 c2
Pack 2 Cell 1 V | cell-voltage pack 2 c1
Akku 1 Zelle 2 | cell-voltage pack 1 c2
Cell voltage pack 2 | cell-voltage pack 2
Wing of servo 2 | control wing servo 2
Accu 2 cel 3 | cell-voltage pack 2 c3
cellule 2 accu 1 (V) | cell-voltage pack 1 c2
celda 1 V | cell-voltage pack 1 c1
cella 2 (V) | cell-voltage pack 1 c2
článek 3 [V] | cell-voltage pack 1 c3
lowest cell voltage | cell-voltage pack 1
left wing current | current left wing
current left wing (A) | current left wing
right panel current | current right wing
port wing A | current left wing
starboard wing A | current right wing
Stbd panel V | voltage right wing
Fläche li. Strom | current left wing
Fläche re. Strom | current right wing
Fl. links U | voltage left wing
linke Tragfläche Spannung | voltage left wing
rechte Tragfläche Spannung | voltage right wing
Flügel rechts [A] | current right wing
aile droite courant | current right wing
courant aile D | current right wing
tension aile G (V) | voltage left wing
panneau gauche courant | current left wing
corriente ala derecha | current right wing
ala izq. corriente | current left wing
ala sinistra corrente [A] | current left wing
corrente ala dx | current right wing
tensione semiala sx | voltage left wing
linkervleugel stroom | current left wing
rechter vleugel stroom | current right wing
stroom vleugel rechts | current right wing
proud levé křídlo | current left wing
proud pravého křídla | current right wing
křídlo levé napětí | voltage left wing
Tail current | current tail
Tail unit V | voltage tail
Heck Strom | current tail
Leitwerk U | voltage tail
courant empennage | current tail
tension queue | voltage tail
corriente cola | current tail
corrente coda | current tail
stroom staart | current tail
proud ocas | current tail
fuselage current | current fuselage
Rumpf Strom | current fuselage
courant fuselage | current fuselage
corriente fuselaje | current fuselage
stroom romp | current fuselage
proud trup | current fuselage
Node 1 voltage | voltage node 1
Node 2 current [mA] | current node 2
Knoten 3 Spannung | voltage node 3
Knoten 3 Strom max | current node 3 max
nœud 2 courant | current node 2
nodo 1 corriente | current node 1
knoop 2 stroom | current node 2
uzel 1 proud | current node 1
Node left wing U | voltage left wing
left wing node current | current left wing
Regler Temperatur | temperature regulator
Regulator temp (°C) | temperature regulator
temp. régulateur | temperature regulator
temperatura regulador | temperature regulator
temperatura regolatore | temperature regulator
temperatuur regelaar | temperature regulator
teplota regulátoru | temperature regulator
Querruder links | control left aileron
Querruder rechts % | control right aileron
Höhenruder [%] | control elevator
Seitenruder | control rudder
Gas | control throttle
Aileron L (us) | control left aileron
Aileron | control aileron
Elev. | control elevator
Rud. | control rudder
Thr | control throttle
Throttle % | control throttle
Elevator position | control elevator
elevator cmd | control elevator
aileron gauche | control left aileron
profondeur | control elevator
gouverne de direction | control rudder
gaz (%) | control throttle
volets | control flap
alerón derecho | control right aileron
timón de profundidad | control elevator
alettone sx | control left aileron
elevatore | control elevator
timone | control rudder
rolroer links | control left aileron
hoogteroer | control elevator
richtingsroer | control rudder
křidélko levé | control left aileron
výškovka | control elevator
směrovka | control rudder
plyn | control throttle
Servo 3 position | control servo 3
Kanal 4 [µs] | control channel 4
Channel 5 [µs] | control channel 5
Channel 1 | control channel 1
Channel 2 | control channel 2
voie 3 | control channel 3
Servo 2 current | current servo 2
Output 3 current (mA) | current output 3
RSSI | link -
RSSI 1 (dBm) | link *
LQI | link -
Link quality % | link -
Signalstärke | link -
Empfangsqualität [%] | link -
qualité du lien | link -
qualité réception | link -
Antenna signal | link *
Lost packets | lost -
Paketverluste | lost -
paquets perdus | lost -
packet losses | lost -
mAhentnommen | consumed *
mAhverbraucht | consumed *
failsafe count | lost -
Altitude (m) | altitude -
Höhe [m] | altitude -
altitude [ft] | altitude -
hoogte m | altitude -
výška (m) | altitude -
quota (m) | altitude -
Speed (km/h) | speed -
Geschwindigkeit [m/s] | speed -
vitesse km/h | speed -
GPS speed | speed *
RPM | rpm -
Drehzahl [U/min] | rpm -
Motor rpm | rpm motor
otáčky | rpm -
temperature °C | temperature -
Temperature 1 | temperature *
Akku 1 Temp | temperature pack 1
battery temperature | temperature pack 1
Voltage alarm | status -
Low voltage limit (V) | status -
Spannung Alarmschwelle | status -
Flight mode | status -
Innenwiderstand Akku 1 [mOhm] | resistance pack 1
Ri Akku 2 mOhm | resistance pack 2
Pack 1 resistance mΩ | resistance pack 1
Leistung [W] | power -
Energie Wh | energy -
Min bus voltage | voltage bus min
Bus min [V] | voltage bus min
U_min Bus | voltage bus min
Max current left wing | current left wing max
Imax Fläche links | current left wing max
peak current tail | current tail max
Spannung min. Akku 1 | voltage pack 1 min
tension mini accu 1 | voltage pack 1 min
RX1 Pack 1 Voltage | voltage pack 1
RX2 Pack 1 Voltage | voltage pack 1
Receiver 2: Pack 2 current | current pack 2
Rx1 link quality | link receiver 1
RX2 RSSI dBm | link receiver 2
Uptime | uptime -
Betriebszeit [s] | uptime -
supply voltage | voltage bus
input 1 voltage | voltage pack 1
Eingang 2 Strom | current pack 2
ESC current | current esc
Motor current | current motor
current (A) | current -
Voltage | voltage -
Strom | current -
U [V] | voltage -
I [A] | current -
U/V | voltage -
I/mA | current -
mAh | consumed -
Ladung mAh | consumed -
discharged capacity | consumed -
V | voltage -
Volts | voltage -
Amps | current -
Amp | current -
Power supply voltage | voltage bus
charge current | current -
discharge current (A) | current -
Battery Voltage | voltage pack 1
current draw left wing | current left wing
wing_left_i | current left wing
wing_right_u | voltage right wing
lw_current | current left wing
rw_current | current right wing
left_wing_mA | current left wing
bus_v | voltage bus
bus_mv | voltage bus
pack1_u_mv | voltage pack 1
pack1_i_ma | current pack 1
p1_v | voltage pack 1
i1 | current pack 1
u2 | voltage pack 2
bat_a_v | voltage pack 1
bat_b_v | voltage pack 2
L wing | - -
Left wing voltage drop | status -
t [s] | time -
U1 [V] | voltage pack 1
Ubus [V] | voltage bus
Isum [A] | current bus
Akku1_U | voltage pack 1
Akku1_I | current pack 1
Akku1_mAh | consumed pack 1
main.bus.voltage_mv | voltage bus
node.left.current_ma | current left wing
node.tail.current_ma | current tail
Left Panel: U [V] | voltage left wing
V_A | voltage pack 1
V_B | voltage pack 2
A_B | current pack 2
V_out | voltage bus
Battery#1 Volt | voltage pack 1
Battery #2 Amp | current pack 2
UBat-1 | voltage pack 1
IBat-2 | current pack 2
U accu 1 | voltage pack 1
I accu 2 | current pack 2
U sortie | voltage bus
T reg | temperature regulator
U aku1 | voltage pack 1
Accu1 V | voltage pack 1
Accu1 mAh | consumed pack 1
V bat1 | voltage pack 1
A total | current bus
mAh total | consumed bus
V batt. 1 | voltage pack 1
I batt. 2 | current pack 2
Servo 1 [mA] | current servo 1
C1 [V] | cell-voltage pack 1 c1
Z2 (V) | cell-voltage pack 1 c2
Left aileron servo current (A) | current left aileron
Vcc | voltage -
Vout | voltage bus
Vin 2 | voltage pack 2
BEC V | voltage regulator
BEC temp | temperature regulator
GPS altitude | altitude gps
Link loss count | lost -
RX voltage min | voltage receiver min
Empfänger 1 Spannung min | voltage receiver 1 min
Left wing voltage [V] min | voltage left wing min
Left wing max current [A] | current left wing max
Strom Akku 1 gemittelt | current pack 1
I mean bus | current bus mean
Node A voltage | voltage node a
Tail (node 3) current | current tail
Pack 1/Voltage | voltage pack 1
pack_1-current.A | current pack 1
Voltage (pack 2) | voltage pack 2
Current[left wing] | current left wing
Spannung (Akku 2) in mV | voltage pack 2
Bat. 1 | voltage pack 1
BATTERY | voltage pack 1
Temp. Akku 2 | temperature pack 2
Motor temp | temperature motor
ESC temp | temperature esc
Akkukapazität 1 | consumed pack 1
Restkapazität | remaining -
Verbrauch | consumed -
Verbrauchte mAh | consumed -
Energieverbrauch Wh | energy -
current consumption left wing (mA) | current left wing
Stromaufnahme Fläche rechts | current right wing
Leistungsaufnahme W | power -
tension d'alimentation récepteur | voltage receiver
alimentation récepteur (V) | voltage receiver
courant servos | current bus
tension bus servos | voltage bus
voltaje del bus | voltage bus
corriente del ala izquierda | current left wing
batería principal voltaje | voltage pack 1
batería de reserva voltaje | voltage pack 2
batteria principale tensione | voltage pack 1
tensione batteria di riserva | voltage pack 2
hlavní baterie napětí | voltage pack 1
záložní baterie napětí | voltage pack 2
hoofdaccu spanning | voltage pack 1
reserveaccu spanning | voltage pack 2
accu principal tension | voltage pack 1
accu de secours tension | voltage pack 2
linkerpaneel stroom | current left wing
stroom linkervleugel | current left wing
spanning ontvanger 2 | voltage receiver 2
temperatura del regolatore | temperature regulator
Strom links | current left wing
Strom rechts | current right wing
U links | voltage left wing
current L | current left wing
I_R | current right wing
U_L (V) | voltage left wing
wingL_I | current left wing
wingR_U | voltage right wing
leftWingCurrent | current left wing
rightPanelVoltage_mV | voltage right wing
LEFT_WING_I_MA | current left wing
BUS_VOLTAGE_MV | voltage bus
PACK2_CURRENT_MA | current pack 2
TAIL_TEMP_C | temperature tail
RX1_RSSI_DBM | link receiver 1
packVoltage1 | voltage pack 1
voltage_pack_2 | voltage pack 2
current.node.4 | current node 4
temperature.regulator.degC | temperature regulator
Sensor 3 voltage | voltage sensor 3
Signal strength RX2 | link receiver 2
Höhe über Start [m] | altitude *
Flughöhe m | altitude -
Steigen m/s | speed -
Fahrwerk | control gear
Landeklappen % | control flap
Störklappe links | control left spoiler
Seitenruder Strom | current rudder
Höhenruder links Strom (A) | current left elevator
Querruder L [A] | current left aileron
Kanal 1 Strom | current channel 1
Ausgang 4 [mA] | current output 4
Akku-Spannung 1 | voltage pack 1
Akku-Strom 2 | current pack 2
Ø Strom Fläche links | current left wing
Spannung Knoten 2 (min) | voltage node 2 min
max. Strom Leitwerk | current tail max
U(Akku1) | voltage pack 1
I(Akku1)/A | current pack 1
U_Akku1/V | voltage pack 1
Strom/A | current -
Temp 1 | temperature sensor 1
FlÃ¤che links Strom | current left wing
Temperatur Regler [Â°C] | temperature regulator
T Regler [?C] | temperature regulator
Entladestrom Akku 1 | current pack 1
Ruhestrom Fläche links | current left wing
Mindestspannung Bus | voltage bus min
Höchststrom Leitwerk | current tail max
Pack 1 mA·h | consumed pack 1
Empfängerakkuspannung | voltage pack 1
U. accu n°1 (V) | voltage pack 1
"""


def _cases() -> list[tuple[str, str]]:
    return [
        (name.strip(), want.strip())
        for name, _, want in (line.rpartition("|") for line in NAMES.strip().splitlines())
    ]


@pytest.mark.parametrize(("name", "want"), _cases())
def test_names_mean_what_they_say(name: str, want: str) -> None:
    found = readings(take_apart(name))
    if want == "- -":
        assert not found
        return
    best = found[0]
    quantity, _, rest = want.partition(" ")
    assert best.quantity == quantity, best.reason
    if rest == "*":
        return
    got = best.place or "-"
    got += f" {best.hold}" if best.hold else ""
    got += f" c{best.cell}" if best.cell is not None else ""
    assert got == rest, best.reason


@pytest.mark.parametrize(
    ("name", "symbol", "where"),
    [
        ("Voltage [mV]", "mV", "brackets"),
        ("Voltage(mV)", "mV", "brackets"),
        ("Voltage, mV", "mV", "name"),
        ("Voltage mV", "mV", "name"),
        ("voltage_mV", "mV", "name"),
        ("U/mV", "mV", "name"),
        ("Spannung in mV", "mV", "name"),
        ("U1mV", "mV", "name"),
        ("VoltagemV", "mV", "name"),
        ("mAh used", "mAh", "name"),
        ("Drehzahl [U/min]", "rpm", "brackets"),
        ("Temp (°C)", "degC", "brackets"),
        ("T [C]", "degC", "brackets"),
        ("Speed km/h", "km/h", "name"),
        ("Pack 1 A max", "A", "name"),
    ],
)
def test_units_wherever_they_stand(name: str, symbol: str, where: str) -> None:
    apart = take_apart(name)
    assert apart.unit is not None
    assert (apart.unit.symbol, apart.unit_from) == (symbol, where)


@pytest.mark.parametrize("name", ["I min", "Spannung Akku 1 min", "Voltage (min)", "Pack R"])
def test_words_that_are_no_units_there(name: str) -> None:
    assert take_apart(name).unit is None


def test_the_unit_row_goes_before_the_name() -> None:
    assert take_apart("Pack A", "mV").unit is UNITS["mV"]
    assert readings(take_apart("Pack A", "mV"))[0].place == "pack 1"
    assert take_apart("Time", "hh:mm:ss").time_form == "hh:mm:ss"


@pytest.mark.parametrize(
    ("text", "canonical", "factor"),
    [
        ("0.01 V", "V", 0.01),
        ("0,1V", "V", 0.1),
        ("1/10 V", "V", 0.1),
        ("V/10", "V", 0.1),
        ("V*100", "V", 0.01),
        ("mA/10", "A", 0.0001),
        ("10 mAh", "mAh", 10.0),
        # Prefixes of the SI; spelled out; GOST 8.417 (from memory).
        ("dV", "V", 0.1),
        ("cA", "A", 0.01),
        ("dA", "A", 0.1),
        ("milliampere hours", "mAh", 1.0),
        ("degrees Celsius", "degC", 1.0),
        ("\u043c\u0412", "V", 0.001),
        ("\u043c\u0410\u00b7\u0447", "mAh", 1.0),
        ("\u043a\u043c/\u0447", "m/s", 1 / 3.6),
    ],
)
def test_scaled_units(text: str, canonical: str, factor: float) -> None:
    unit = parse_scaled(text)
    assert unit is not None
    assert unit.canonical == canonical
    assert unit.factor == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize("text", ["", "Volt*", "1/0 V", "V/0", "abc", "[]", "0 V", "da", "ca"])
def test_what_is_no_unit(text: str) -> None:
    assert parse_scaled(text) is None


@pytest.mark.parametrize(
    ("word", "parts"),
    [
        ("akkuspannung", ("akku", "spannung")),
        ("flachenstrom", ("flachen", "strom")),
        ("empfangerspannung", ("empfanger", "spannung")),
        ("ontvangerspanning", ("ontvanger", "spanning")),
        ("ubatt", ("u", "batt")),
        ("gesamtstrom", ("gesamt", "strom")),
        ("batman", ()),
    ],
)
def test_compounds(word: str, parts: tuple[str, ...]) -> None:
    assert split_compound(word) == parts


def test_words_are_split_at_changes_of_case_and_digits() -> None:
    assert [w.text for w in split_words("PanelLCurrent2")] == ["Panel", "L", "Current", "2"]
    assert [w.text for w in split_words("NOSEAkku1")] == ["NOSE", "Akku", "1"]
    assert [w.number for w in split_words("node3.v")] == [None, 3, None]


def test_abbreviations_are_completed_where_only_one_meaning_fits() -> None:
    (word,) = split_words("Tragfl.")
    assert word.has(Role.BODY, "wing")
    assert not word.sure
    assert not split_words("vol")[0].meanings  # voltage or volet: not guessed


def test_two_readings_that_fit_alike_both_come_out() -> None:
    found = readings(take_apart("A7"))
    assert {r.quantity for r in found} == {"current", "voltage"}
    assert len({r.score for r in found}) == 1


@pytest.mark.parametrize("name", ["C.bat1", "Q pack 1", "Pack 1 ragu", "Temp [%]"])
def test_what_is_not_told_is_not_read(name: str) -> None:
    """A part tells a quantity only where no other word may; a unit that misfits tells none."""
    assert not readings(take_apart(name))


def test_every_reading_has_a_score_and_a_reason() -> None:
    for name, _ in _cases():
        for reading in readings(take_apart(name)):
            assert 0 < reading.score <= 1
            assert reading.reason
