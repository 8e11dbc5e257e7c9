"""The dictionary: what single words of a header mean, in seven languages.

English, German, French, Spanish, Italian, Dutch, Czech. It holds meanings (a quantity, a part of
the aircraft, a side, a hold, ...), never whole headers: `telemetry.importer.names.header`
composes a reading from them. Words are matched without case and accents; "ä" also as "ae".
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from telemetry.model.channels import Quantity


class Role(StrEnum):
    """The part a word plays in a header."""

    QUANTITY = "quantity"
    TIME = "time"
    PLACE = "place"  # a part that takes a number: pack, receiver, node, servo, cell, ...
    BODY = "body"  # a part of the airframe: wing, tail, fuselage, ...
    SURFACE = "surface"
    SIDE = "side"
    POSITION = "position"  # inner, outer, front, rear, upper, lower
    HOLD = "hold"
    TOTAL = "total"
    ORDINAL = "ordinal"
    SETTING = "setting"  # an alarm, limit or state: no reading of the thing it names
    CONTROL = "control"
    NOISE = "noise"


@dataclass(frozen=True, slots=True)
class Meaning:
    """One meaning of a word."""

    role: Role
    value: str


# fmt: off
_QUANTITIES: dict[Quantity, str] = {
    Quantity.VOLTAGE: """voltage voltages volt volts vlt vltg volta spannung spannungen spg spng
        spann tension tensions voltaje tensión voltaggio tensione spanning spanningen napětí
        napeti potential""",
    Quantity.CURRENT: """current currents curr cur crnt crt amp amps ampere amperes amperage
        strom ströme stromstärke stromaufnahme courant courants intensité ampérage corriente
        corrientes intensidad amperaje corrente correnti amperaggio stroom
        stroomsterkte proud proudy""",
    Quantity.CONSUMED: """consumed consumption used usage capacity cap kap kapazität
        verbrauch verbraucht entnommen entnahme ladung entladung charge charges consommation
        consommé consommée capacité cap. consumo consumido consumida capacidad consumato
        consumata capacità verbruik verbruikt capaciteit spotřeba spotřebováno spotřebovaná
        kapacita náboj carica drawn discharged discharge coulomb coulombs décharge
        descarga""",
    Quantity.REMAINING: """remaining remain remains rest restkapazität restladung verbleibend
        verbleibende restant restante restantes rimanente residua residuo resterend resterende
        zbývající zbývá zbytek soc ladezustand füllstand""",
    Quantity.ENERGY: """energy energie énergie energía energia""",
    Quantity.POWER: """power leistung puissance potencia potenza vermogen výkon watt watts
        wattage příkon""",
    Quantity.RESISTANCE: """resistance innenwiderstand widerstand résistance resistencia
        resistenza weerstand odpor impedance impedanz impédance""",
    Quantity.TEMPERATURE: """temperature temperatures temp tmp tmpr temperatur temperaturen
        température temperatura temperature temperatuur teplota teploty""",
    Quantity.LINK: """rssi snr lq lqi link signal signál señal segnale signaal
        quality qualität qualité calidad qualità kwaliteit kvalita empfang empfangsqualität
        réception recepción ricezione ontvangst příjem strength feldstärke signalstärke
        verbindung antenna antenne antena anténa""",
    Quantity.LOST: """lost loss losses verlust verluste verloren perdu perdus perdue perdues
        perte pertes perdida perdidas perdido perdidos pérdida pérdidas perso persi perse
        perdita perdite verlies verliezen ztracené ztracených ztráta ztráty failsafe
        failsafes dropout dropouts dropped missed paketverlust paketverluste ausfälle aussetzer
        výpadky výpadek""",
    Quantity.UPTIME: """uptime betriebszeit einschaltdauer einschaltzeit eingeschaltet runtime
        encendido acceso marche zapnutí zapnuto bedrijfstijd fonctionnement funcionamiento
        funzionamento provozu""",
    Quantity.ALTITUDE: """altitude height höhe alti alt flughöhe hauteur altitud altura altezza
        quota hoogte výška elevation""",
    Quantity.SPEED: """speed geschwindigkeit velocity vitesse velocidad velocità snelheid
        rychlost airspeed groundspeed vario variometer variomètre climb climbrate steigen
        steigrate sinken fahrt stijgsnelheid stoupání""",
    Quantity.RPM: """rpm drehzahl régime revolutions tours giri toerental otáčky revoluciones
        umdrehungen toeren""",
    Quantity.ACCELERATION: """acceleration accel acc beschleunigung accélération aceleración
        accelerazione versnelling zrychlení gforce""",
    Quantity.PRESSURE: """pressure druck luftdruck staudruck pression presión pressione tlak
        baro""",
    Quantity.COUNT: """count counter anzahl zahl
        index idx zähler compteur contador contatore teller čítač
        sample samples zeile seq sequence sequenz record records lfd row rows ligne fila riga
        regel řádek pořadí""",
    Quantity.STATUS: """status state zustand état estado stato toestand stav mode modus modo
        flag flags event ereignis message meldung""",
}

_SETTINGS = """alarm alarme alarma allarme alarmschwelle warning warnung warn avertissement
    aviso avviso waarschuwing varování error errors fehler erreur errore fout chyba limit limits
    grenzwert grenze limite límite threshold schwelle schwellwert seuil umbral soglia drempel
    práh target soll sollwert setpoint nominal rated nenn nennwert armed version firmware config
    configuration calibration kalibrierung drop
    abfall chute caída caduta pokles difference differenz différence diferencia diff delta
    differenza ripple welligkeit sag einbruch verschil rozdíl deviation abweichung"""

_TIMES = """time zeit temps tiempo tempo tijd čas timestamp zeitstempel uhrzeit uhr heure hora
    ora horodatage elapsed seconds sekunden secondes segundos secondi seconden sekundy millis
    milliseconds millisekunden millisecondes milisegundos millisecondi milliseconden milisekundy
    micros microseconds mikrosekunden sec secs sek date datum fecha clock utc gmt datetime epoch
    dauer duration durée duración durata duur trvání doba laufzeit flugzeit logzeit tijdstip
    zeitpunkt instante dato"""

_PLACES: dict[str, str] = {
    "pack": """pack packs pck battery batteries batt bat bty batterie batterien akku akkus
        akkupack akkumulator accu accus accupack accumulateur accumulator batería batteria bateria
        baterías baterie acumulador accumulatore pila batterij batterijen aku akumulátor lipo
        lipos liion nimh lifepo lion""",
    "receiver": """receiver receivers rx rcvr recv empfänger empf récepteur récept receptor
        ricevente ricevitore ontvanger ontv přijímač""",
    "bus": """bus rail rails busbar sběrnice sammelschiene distribution verteiler verteilung
        stromverteiler weiche akkuweiche stromweiche répartiteur répartition distributeur
        repartidor distribuidor distribución distributore ripartitore distribuzione verdeler
        stroomverdeler verdeelunit rozdělovač rozvaděč zentrale hauptgerät hauptverteiler
        centrale centralina mainboard bordnetz  stromversorgung pdb pdu""",
    "supply": """supply supplies load last belasting zátěž carico versorgung alimentation
        alimentación alimentazione voeding
        napájení bord onboard system systeem système sistema systém stromkreis""",
    "regulator": """regulator reg regler bec régulateur regulador regolatore regelaar
        spanningsregelaar regulátor spannungsregler ldo wandler""",
    "node": """node knoten nœud noeud nodo knoop uzel remote decoder dekoder décodeur
        decodificador decodificatore dekodér slave submodul submodule nebengerät""",
    "unit": """unit einheit unité unidad unità eenheid jednotka module modul modulo módulo box
        device gerät appareil dispositivo apparaat přístroj""",
    "servo": """servo servos srv serva""",
    "channel": """channel channels chan chnl ch kanal kanäle canal canaux voie voies canale
        kanaal""",
    "output": """output outputs out aus ausg ausgang ausgänge sortie sorties salida salidas uscita
        uscite
        uitgang uitgangen výstup výstupy port""",
    "input": """input inputs eingang eingänge entrée entrées entrada entradas ingresso ingressi
        ingang ingangen vstup vstupy""",
    "cell": """cell cells zelle zellen zell cellule cellules élément celda celdas elemento cella
        celle elementi cel cellen článek články""",
    "motor": """motor motors engine moteur motore turbine triebwerk turbina turbína""",
    "esc": """esc steller fahrtregler motorregler variateur variador""",
    "sensor": """sensor sensoren capteur senzor sensore sens""",
    "main": """main haupt hoofd principal principale principaux hlavní primary primär primaire
        primario""",
}

_BODIES: dict[str, str] = {
    "wing": """wing wings wng panel panels pnl fläche flächen tragfläche tragflächen flügel aile
        ailes voilure panneau ala alas semiala semiali vleugel vleugels paneel křídlo křídla
        křídle demiaile halbfläche""",
    "tail": """tail empennage leitwerk heck höhenleitwerk hlw queue cola empenaje coda
        impennaggio staart ocas ocasní tailplane""",
    "fuselage": """fuselage fuse fus rumpf fuselaje fusoliera romp trup hull""",
    "stab": """stab stabilizer stabiliser stabilisateur stabilo stabilisator stabilizzatore""",
    "fin": """fin seitenleitwerk slw kielflosse deriva kýlovka""",
    "nose": """nose nase nez neus""",
    "boom": """boom booms leitwerksträger""",
}

_SURFACES: dict[str, str] = {
    "aileron": """aileron ailerons ail querruder querrudern quer alerón alerones alettone
        alettoni rolroer rolroeren křidélko křidélka křidélek""",
    "elevator": """elevator elevators elev ele elevon elevons höhenruder profondeur elevador
        profundidad elevatore equilibratore profondità hoogteroer výškovka výškovky výškové""",
    "rudder": """rudder rudders rud seitenruder dérive direction dirección timón timone
        direzionale richtingsroer směrovka směrovky směrové""",
    "throttle": """throttle thr gas gaz acelerador gasknüppel drossel plyn manetta""",
    "flap": """flap flaps flp wölbklappe wölbklappen landeklappe landeklappen klappe klappen
        volet volets ipersostentatore klep kleppen klapka klapky""",
    "spoiler": """spoiler spoilers störklappe störklappen spoileron spoilerons""",
    "airbrake": """airbrake airbrakes bremsklappe bremsklappen aérofrein aerofreno luchtrem""",
    "canard": """canard canards entenflügel""",
    "gear": """gear fahrwerk einziehfahrwerk retract retracts lg train tren carrello
        landingsgestel podvozek""",
    "brake": """brake brakes bremse radbremse bremsen frein freno rem brzda""",
}

_SIDES: dict[str, str] = {
    "left": """left port lft lh links linke linker linkes linken lks li gauche izquierda
        izquierdo izq izda sinistra sinistro sin sx levý levá levé vlevo lev portside backbord
        babord bâbord babor babordo bakboord""",
    "right": """right rgt rgh rh rechts rechte rechter rechtes rechten rts re droite droit
        derecha derecho dcha der destra destro dx pravý pravá pravé vpravo starboard stbd
        steuerbord tribord estribor tribordo stuurboord""",
}

_POSITIONS: dict[str, str] = {
    "inner": """inner inboard inside innen inneres intérieur intérieure interior interno interna
        binnen vnitřní""",
    "outer": """outer outboard outside außen aussen äußeres extérieur extérieure exterior
        esterno esterna buiten vnější""",
    "mid": """mid middle center centre mitte mittel centrale_ milieu medio midden střed střední""",
    "front": """front forward vorn vorne avant delantero anteriore voor přední""",
    "rear": """rear aft hinten arrière trasero posteriore achter zadní""",
    "upper": """upper top oben supérieur superior superiore boven horní""",
    "lower": """lower bottom unten inférieur inferior inferiore onder dolní""",
}

_HOLDS: dict[str, str] = {
    "min": """min minimum minimal minimale mini mínimo mínima minimo minima minimaal lowest
        mindest tiefst niedrigste tiefste kleinste nejnižší minimální""",
    "max": """höchst max maximum maximal maximale maxi máximo máxima massimo massima maximaal peak
        spitze spitzen spitzenwert highest höchste pic crête pico picco piek špička nejvyšší
        maximální""",
    "mean": """avg average mean mittelwert durchschnitt durchschnittlich moyen moyenne promedio
        media medio_ gemiddeld gemiddelde průměr průměrný""",
}

_TOTAL = """total totale totaal tot gesamt ges gesamte summe sum sums somme suma somma som
    totalt overall combined celkem celkový celková celkové zusammen alle both cumul"""

_ORDINALS: dict[str, str] = {
    "1": """first erste erster erstes premier première primera primero prima primo eerste první""",
    "2": """second zweite zweiter zweites deuxième segunda segundo seconda secondo tweede druhý
        druhá backup reserve secondary sekundär secondaire secundario secundaria záložní
        redundant ersatz secours respaldo reserva riserva spare""",
}

_CONTROLS = """control controls ctrl position positions pos stick knüppel steuerknüppel manche
    palanca knuppel páka command commands cmd befehl pulse puls pwm impuls impuls ausschlag
    deflection stellung servoweg servoposition servopos commande mando comando pozice výchylka"""

_NOISE = """the of de du des la le les del di da van het der die das am an auf im in at on for
    from für per value values val wert werte valeur valeurs valor valores valore valori waarde
    waarden hodnota hodnoty measured measurement reading readings messwert gemessen telemetry
    telemetrie telemetría actual ist istwert akt aktuell aktuelle aktueller actuel actuelle
    attuale huidige aktuální now live momentan momentanwert inst instant real side seite côté
    lado lato kant strana half hälfte nr no num number nummer numero número n° číslo and und et
    en with mit hand log anzeige draw drain lade entlade ruhe aufnahme
    frame frames packet packets paket pakete trame trames trama tramas pakket pakketten rámců paketů
    lien"""
# fmt: on


def fold(word: str) -> str:
    """A word without case and accents: "Höhe" -> "hohe", "Fläche" -> "flache", "ß" -> "ss"."""
    if word.isascii():
        return word.lower()
    flat = unicodedata.normalize("NFKD", word.casefold().replace("\u0153", "oe"))
    return "".join(ch for ch in flat if not unicodedata.combining(ch))


def _spellings(word: str) -> set[str]:
    """A dictionary word as it may be written: accents dropped, or German umlauts as two letters."""
    word = word.rstrip("_.")
    lower = word.casefold()
    pairs = lower.replace("ä", "ae").replace("ö", "oe").replace("ü", "ue")
    return {fold(lower), fold(pairs)}


@cache
def dictionary() -> dict[str, tuple[Meaning, ...]]:
    """All words with their meanings, the likeliest first."""
    found: dict[str, dict[Meaning, None]] = {}

    def add(words: str, meaning: Meaning) -> None:
        for word in words.split():
            for spelling in _spellings(word):
                found.setdefault(spelling, {}).setdefault(meaning)

    for place, words in _PLACES.items():
        add(words, Meaning(Role.PLACE, place))
    for body, words in _BODIES.items():
        add(words, Meaning(Role.BODY, body))
    for surface, words in _SURFACES.items():
        add(words, Meaning(Role.SURFACE, surface))
    for quantity, words in _QUANTITIES.items():
        add(words, Meaning(Role.QUANTITY, quantity))
    for side, words in _SIDES.items():
        add(words, Meaning(Role.SIDE, side))
    for position, words in _POSITIONS.items():
        add(words, Meaning(Role.POSITION, position))
    for hold, words in _HOLDS.items():
        add(words, Meaning(Role.HOLD, hold))
    for ordinal, words in _ORDINALS.items():
        add(words, Meaning(Role.ORDINAL, ordinal))
    add(_TIMES, Meaning(Role.TIME, "time"))
    add(_TOTAL, Meaning(Role.TOTAL, "total"))
    add(_SETTINGS, Meaning(Role.SETTING, "setting"))
    add(_CONTROLS, Meaning(Role.CONTROL, "control"))
    add(_NOISE, Meaning(Role.NOISE, ""))
    return {word: tuple(meanings) for word, meanings in found.items()}


@cache
def known_words() -> frozenset[str]:
    """Every spelling in the dictionary."""
    return frozenset(dictionary())


def meanings(word: str) -> tuple[Meaning, ...]:
    """Meanings of one word, () where the dictionary does not know it."""
    return dictionary().get(fold(word), ())


# Letters that German and Dutch put between the parts of a compound ("Flächen-s-trom").
_LINKS = ("", "s", "n", "en", "es", "er", "e", "-")


@cache
def split_compound(word: str) -> tuple[str, ...]:
    """Split a compound into dictionary words: "akkuspannung" -> ("akku", "spannung").

    Parameters
    ----------
    word : str
        Folded.

    Returns
    -------
    tuple of str
        The parts, () where the word is not made of dictionary words altogether.
    """
    if len(word) < 4:
        return ()
    return _split(word, first=True)


def _split(rest: str, *, first: bool) -> tuple[str, ...]:
    if not rest:
        return ("",)
    words = dictionary()
    # A leading symbol: "vbatt", "ugesamt", "imax".
    if first and rest[0] in "uvi" and len(rest) > 3 and rest[1:] in words:
        return (rest[0], rest[1:])
    for size in range(len(rest), 2, -1):
        part = rest[:size]
        if part not in words:
            continue
        if size == len(rest):
            return () if first else (part,)
        for link in _LINKS:
            if rest.startswith(link, size) and len(rest) > size + len(link):
                tail = _split(rest[size + len(link) :], first=False)
                if tail:
                    return (part, *tail)
    return ()
