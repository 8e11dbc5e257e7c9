# ruff: noqa: RUF001 - letters of other alphabets are what these files are about
"""Dictionary words for quantities and places in many languages, and words that no language has."""

from __future__ import annotations

import numpy as np

KEYS = (
    "time", "voltage", "current", "consumed", "temperature", "altitude", "speed", "link", "uptime",
    "pack", "bus", "regulator", "receiver", "left wing", "right wing", "tail", "fuselage", "outer",
    "aileron", "elevator", "rudder", "throttle",
)  # fmt: skip

# One line a language, words in the order of KEYS, parted by commas.
_LINES = {
    "english": "time, voltage, current, consumed, temperature, altitude, speed, signal strength, "
    "uptime, pack, bus, regulator, receiver, left wing, right wing, tail, fuselage, outer, "
    "aileron, elevator, rudder, throttle",
    "german": "Zeit, Spannung, Strom, Verbrauch, Temperatur, Höhe, Geschwindigkeit, Signalstärke, "
    "Betriebszeit, Akku, Bus, Regler, Empfänger, Fläche links, Fläche rechts, Leitwerk, Rumpf, "
    "außen, Querruder, Höhenruder, Seitenruder, Gas",
    "french": "temps, tension, courant, consommation, température, altitude, vitesse, signal, "
    "fonctionnement, batterie, bus, régulateur, récepteur, aile gauche, aile droite, empennage, "
    "fuselage, extérieure, aileron, profondeur, direction, gaz",
    "spanish": "tiempo, tensión, corriente, consumo, temperatura, altitud, velocidad, señal, "
    "funcionamiento, batería, bus, regulador, receptor, ala izquierda, ala derecha, cola, "
    "fuselaje, exterior, alerón, profundidad, timón, acelerador",
    "italian": "tempo, tensione, corrente, consumo, temperatura, quota, velocità, segnale, "
    "funzionamento, batteria, bus, regolatore, ricevente, ala sinistra, ala destra, coda, "
    "fusoliera, esterna, alettone, elevatore, timone, manetta",
    "dutch": "tijd, spanning, stroom, verbruik, temperatuur, hoogte, snelheid, signaal, "
    "bedrijfstijd, accu, bus, regelaar, ontvanger, vleugel links, vleugel rechts, staart, romp, "
    "buiten, rolroer, hoogteroer, richtingsroer, gas",
    "czech": "čas, napětí, proud, spotřeba, teplota, výška, rychlost, signál, provoz, "
    "baterie, sběrnice, regulátor, přijímač, levé křídlo, pravé křídlo, ocas, trup, vnější, "
    "křidélko, výškovka, směrovka, plyn",
    "polish": "czas, napięcie, prąd, zużycie, temperatura, wysokość, prędkość, sygnał, "
    "czas pracy, akumulator, szyna, regulator, odbiornik, lewe skrzydło, prawe skrzydło, ogon, "
    "kadłub, zewnętrzne, lotka, ster wysokości, ster kierunku, gaz",
    "swedish": "tid, spänning, ström, förbrukning, temperatur, höjd, hastighet, signal, "
    "drifttid, batteri, buss, regulator, mottagare, vänster vinge, höger vinge, stjärt, "
    "flygkropp, yttre, skevroder, höjdroder, sidroder, gas",
    "danish": "tid, spænding, strøm, forbrug, temperatur, højde, hastighed, signal, driftstid, "
    "batteri, bus, regulator, modtager, venstre vinge, højre vinge, hale, krop, ydre, "
    "krængeror, højderor, sideror, gas",
    "norwegian": "tid, spenning, strøm, forbruk, temperatur, høyde, hastighet, signal, driftstid, "
    "batteri, buss, regulator, mottaker, venstre vinge, høyre vinge, hale, kropp, ytre, "
    "balanseror, høyderor, sideror, gass",
    "finnish": "aika, jännite, virta, kulutus, lämpötila, korkeus, nopeus, signaali, käyntiaika, "
    "akku, kisko, säädin, vastaanotin, vasen siipi, oikea siipi, pyrstö, runko, ulompi, "
    "siiveke, korkeusperäsin, sivuperäsin, kaasu",
    "hungarian": "idő, feszültség, áram, fogyasztás, hőmérséklet, magasság, sebesség, jel, "
    "üzemidő, akkumulátor, sín, szabályzó, vevő, bal szárny, jobb szárny, farok, törzs, külső, "
    "csűrő, magassági kormány, oldalkormány, gáz",
    "portuguese": "tempo, tensão, corrente, consumo, temperatura, altitude, velocidade, sinal, "
    "tempo ligado, bateria, barramento, regulador, receptor, asa esquerda, asa direita, cauda, "
    "fuselagem, externa, aileron, profundor, leme, acelerador",
    "japanese": "時間, 電圧, 電流, 消費, 温度, 高度, 速度, 信号, 稼働時間, 電池, 母線, "
    "調整器, 受信機, 左翼, 右翼, 尾翼, 胴体, 外側, 補助翼, 昇降舵, 方向舵, スロットル",
    # No word of these is in the project's dictionary, as far as chance did not put it there.
    "turkish": "zaman, gerilim, akım, tüketim, sıcaklık, yükseklik, hız, sinyal, çalışma süresi, "
    "pil, bara, düzenleyici, alıcı, sol kanat, sağ kanat, kuyruk, gövde, dış, kanatçık, "
    "irtifa dümeni, yön dümeni, gaz kolu",
    "greek": "χρόνος, τάση, ρεύμα, κατανάλωση, θερμοκρασία, ύψος, ταχύτητα, σήμα, λειτουργία, "
    "μπαταρία, ζυγός, ρυθμιστής, δέκτης, αριστερό φτερό, δεξί φτερό, ουρά, άτρακτος, εξωτερικό, "
    "πηδάλιο κλίσης, πηδάλιο ύψους, πηδάλιο διεύθυνσης, μανέτα",
    "basque": "denbora, tentsioa, korrontea, kontsumoa, tenperatura, altuera, abiadura, seinalea, "
    "martxa, bateria, barra, erregulagailua, hartzailea, ezker hegala, eskuin hegala, isatsa, "
    "gorputza, kanpokoa, hegaltxoa, sakonera, lema, azeleragailua",
    "russian": "время, напряжение, ток, расход, температура, высота, скорость, сигнал, наработка, "
    "батарея, шина, регулятор, приёмник, левое крыло, правое крыло, хвост, фюзеляж, внешнее, "
    "элерон, руль высоты, руль направления, газ",
    "croatian": "vrijeme, napon, struja, potrošnja, temperatura, visina, brzina, signal, rad, "
    "baterija, sabirnica, regulator, prijemnik, lijevo krilo, desno krilo, rep, trup, vanjsko, "
    "krilce, kormilo visine, kormilo smjera, gas",
    "romanian": "timp, tensiune, curent, consum, temperatură, înălțime, viteză, semnal, "
    "funcționare, acumulator, bară, regulator, receptor, aripa stângă, aripa dreaptă, coadă, "
    "fuzelaj, exterior, eleron, profundor, direcție, gaze",
    "estonian": "aeg, pinge, vool, kulu, temperatuur, kõrgus, kiirus, signaal, tööaeg, aku, "
    "siin, regulaator, vastuvõtja, vasak tiib, parem tiib, saba, kere, välimine, kaldtüür, "
    "kõrgustüür, pöördetüür, gaas",
}  # fmt: skip
#: Languages whose words the project's dictionary has, or is to have.
KNOWN = ("english", "german", "french", "spanish", "italian", "dutch", "czech", "polish", "swedish",
         "danish", "norwegian", "finnish", "hungarian", "portuguese", "japanese")  # fmt: skip
UNKNOWN = ("turkish", "greek", "basque", "russian", "croatian", "romanian", "estonian")


def words_of(language: str) -> dict[str, str]:
    """The words of a language by what they mean."""
    words = [w.strip() for w in _LINES[language].split(",")]
    return dict(zip(KEYS, words, strict=True))


#: Letters and codes of the trade, for quantities written as a symbol.
LETTERS = ({"voltage": "U", "current": "I", "consumed": "Q", "temperature": "T"},
           {"voltage": "V", "current": "A", "consumed": "C", "temperature": "T"},
           {"voltage": "V", "current": "I", "consumed": "Q", "temperature": "T"})  # fmt: skip
ABBREVIATED = {
    "voltage": "volt", "current": "curr", "consumed": "cap", "temperature": "temp",
    "altitude": "alt", "speed": "spd", "link": "rssi", "uptime": "uptime", "left wing": "LW",
    "right wing": "RW", "tail": "TL", "fuselage": "FU", "left wing outer": "LWO",
    "right wing outer": "RWO", "pack": "bat", "bus": "bus", "regulator": "reg", "receiver": "rx",
    "aileron": "ail", "elevator": "ele", "rudder": "rud", "throttle": "thr",
}  # fmt: skip

_FIRST = ("b", "d", "f", "g", "k", "l", "m", "n", "p", "r", "s", "t", "v", "z", "br", "kl", "st")
_VOWELS = ("a", "e", "i", "o", "u")
_LAST = ("", "", "n", "k", "r", "l", "x")


def made_up(rng: np.random.Generator, number: int) -> list[str]:
    """Different words of two or three syllables that mean nothing."""
    words: dict[str, None] = {}
    while len(words) < number:
        syllables = [str(rng.choice(_FIRST)) + str(rng.choice(_VOWELS)) + str(rng.choice(_LAST))
                     for _ in range(rng.integers(2, 4))]  # fmt: skip
        words.setdefault("".join(syllables))
    return list(words)
