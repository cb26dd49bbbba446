"""Draw the diagrams of the hardware guide again: python -m tests.docs.make_diagrams

The drawings are text and the same on every machine; a test compares them with the files, and people
look at them.
"""

import sys
from pathlib import Path

from tests.docs.drawing import Drawing

PICTURES = Path(__file__).resolve().parents[2] / "host/emberbed/docs/pictures"


def block_diagram() -> str:
    """What carries the heat, what may take it away, and what only watches."""
    d = Drawing(980, 560, "Block diagram: the chain of the mains, the controller, the board")
    chain = [
        ("Supply", "RCD, earth"),
        ("Fuse", "for the SSR"),
        ("Contactor", "second switch"),
        ("Cut-out", "manual reset"),
        ("SSR", "on heatsink"),
        ("Emitters", "heat upwards"),
    ]
    for number, (name, said) in enumerate(chain):
        x = 20 + number * 160
        d.box(x, 70, 130, 70, name, said, bold=name in ("Contactor", "Cut-out"))
        if number:
            d.wire("mains", (x - 30, 105), (x, 105), arrow=True)
    d.words(
        20,
        40,
        "Mains, in series. An SSR fails closed: contactor and cut-out do not need it to open",
        strong=True,
    )

    d.box(340, 230, 130, 60, "Latching stop", "breaks the coil", bold=True)
    d.wire("low", (405, 230), (405, 140), arrow=True)
    d.words(415, 190, "coil")
    d.box(
        340, 360, 290, 90, "Controller board", "ten times a second: read,", "judge, switch, record"
    )
    d.wire("low", (405, 360), (405, 290), arrow=True)
    d.wire("low", (590, 360), (590, 180), (725, 180), (725, 140), arrow=True)
    d.words(600, 250, "through transistors", "start")

    d.box(20, 230, 200, 60, "Senses", "mirror contact, current")
    d.wire("signal", (95, 290), (95, 385), (340, 385), arrow=True)
    d.wire("signal", (365, 140), (365, 185), (95, 185), (95, 230), arrow=True)
    d.box(20, 420, 150, 60, "Button, lamp", "buzzer, display")
    d.wire("signal", (170, 435), (340, 435), arrow=True)
    d.box(805, 250, 160, 60, "Board", "two beads or more")
    d.wire("heat", (885, 140), (885, 250), arrow=True)
    d.box(720, 375, 130, 60, "Converters", "one per bead")
    d.wire("couple", (885, 310), (885, 405), (850, 405), arrow=True)
    d.wire("signal", (720, 405), (630, 405), arrow=True)
    d.box(430, 480, 110, 44, "PC")
    d.wire("signal", (485, 480), (485, 450), arrow=True)
    d.legend(
        20,
        542,
        {"mains": "mains", "low": "low voltage", "signal": "signal", "couple": "couple",
         "heat": "radiated heat"},
        190,
    )  # fmt: skip
    return d.svg()


def mains() -> str:
    """The path of line, neutral and earth, and the coil circuit apart from it."""
    d = Drawing(980, 525, "Wiring of the mains, and of the contactor's coil")
    d.words(20, 36, "Mains: a competent person wires and tests it, to the local code", strong=True)
    d.words(20, 95, "L")
    d.words(20, 215, "N")
    d.words(20, 285, "PE")
    d.wire("mains", (45, 90), (900, 90), (900, 120))
    d.wire("mains", (45, 210), (900, 210), (900, 190))
    d.box(860, 120, 80, 70, "Emitters")
    d.box(70, 62, 90, 56, "Main", "switch")
    d.box(70, 182, 90, 56, "Main", "switch")
    d.box(185, 62, 100, 56, "Fuse", "by its I²t")
    d.box(320, 62, 110, 56, "Contactor", "pole 1", bold=True)
    d.box(320, 182, 110, 56, "Contactor", "pole 2", bold=True)
    d.box(460, 62, 160, 56, "Thermal cut-out", "at the emitters", bold=True)
    d.box(650, 62, 110, 56, "SSR", "zero cross")
    d.box(665, 140, 80, 36, "Varistor")
    for x in (640, 780):  # across the SSR's output
        d.dot(x, 90)
        inner = 665 if x < 700 else 745
        d.wire("mains", (x, 90), (x, 158), (inner, 158))
    d.wire("earth", (50, 280), (925, 280), (925, 190))
    for x, said in ((240, "enclosure"), (500, "heater frame, grille"), (770, "SSR heatsink")):
        d.wire("earth", (x, 280), (x, 306))
        d.dot(x, 280)
        d.words(x, 324, said, "middle")
    d.words(20, 372, "Coil, low voltage, with a supply of its own insulation", strong=True)
    d.words(20, 415, "24 V")
    d.wire("low", (60, 410), (560, 410))
    d.box(110, 385, 160, 50, "Latching stop", "opens the coil", bold=True)
    d.box(310, 385, 130, 50, "Coil", "diode across")
    d.box(480, 385, 130, 50, "Transistor", "drive")
    d.wire("low", (610, 410), (650, 410), (650, 440))
    d.words(650, 458, "0 V", "middle")
    d.wire("signal", (545, 465), (545, 435), arrow=True)
    d.words(545, 480, "contactor pin", "middle")
    d.box(735, 385, 230, 50, "Mirror contact", "closed when poles are open")
    d.wire("signal", (735, 410), (705, 410), (705, 485), (690, 485), arrow=True)
    d.words(685, 490, "sense pin", "end")
    d.legend(
        20, 506, {"mains": "mains", "earth": "earth", "low": "low voltage", "signal": "signal"}, 170
    )
    return d.svg()


def drives() -> str:
    """A transistor between pin and SSR, another between pin and coil."""
    d = Drawing(980, 400, "Transistor drive of an SSR input and of a contactor coil")
    d.words(30, 36, "SSR input", strong=True)
    _drive(d, 30, "5 to 12 V", ("SSR input", "3 to 32 V"), "1 kΩ", "NPN, small", bipolar=True)
    d.words(520, 36, "Contactor coil", strong=True)
    _drive(
        d,
        520,
        "24 V, past the stop",
        ("Coil", "24 V DC"),
        "100 Ω",
        "N-MOSFET, logic level",
        bipolar=False,
    )
    d.shape([(825, 132), (855, 132), (840, 106)], "#fff", "#14211f")
    d.wire("low", (823, 105), (857, 105))
    d.wire("low", (750, 78), (840, 78), (840, 106))
    d.wire("low", (840, 132), (840, 165), (750, 165))
    d.dot(750, 78)
    d.dot(750, 165)
    d.words(866, 124, "diode")
    d.words(30, 380, "10 kΩ at the pin: off while the chip starts, or when its wire is off.")
    return d.svg()


def _drive(
    d: Drawing, x: float, supply: str, load: tuple[str, str], series: str, part: str, bipolar: bool
) -> None:
    collector, base = x + 230, 240
    d.words(collector, 66, supply, "middle")
    d.wire("low", (collector, 74), (collector, 95))
    d.box(collector - 60, 95, 120, 54, *load)
    d.wire("low", (collector, 149), (collector, 205), (collector - 24, 225))
    d.wire("low", (collector - 24, 212), (collector - 24, 268))
    d.wire("low", (collector - 24, 255), (collector, 275), arrow=bipolar)
    d.wire("low", (collector, 275), (collector, 335))
    d.words(collector + 14, 246, part)
    d.wire("signal", (x + 30, base), (x + 105, base))
    d.words(x, base + 5, "pin")
    d.box(x + 105, base - 15, 64, 30, series)
    gate = collector - (24 if bipolar else 32)  # insulated from the channel
    d.wire("low", (x + 169, base), (gate, base))
    if not bipolar:
        d.wire("low", (gate, 218), (gate, 262))
    d.dot(x + 65, base)
    d.wire("low", (x + 65, base), (x + 65, 268))
    d.box(x + 33, 268, 64, 30, "10 kΩ")
    d.wire("low", (x + 65, 298), (x + 65, 335), (collector + 30, 335))
    d.words(collector + 38, 340, "0 V")


def beads() -> str:
    """Where beads lie on a board, and four ways to fix one, two of them wrong."""
    d = Drawing(980, 480, "Where thermocouple beads lie, and how they are fixed")
    d.words(20, 36, "From above", strong=True)
    d.box(20, 55, 420, 300)
    d.box(150, 125, 140, 140, "Chip")
    _bead(d, 322, 195, "1")
    d.wire("couple", (322, 195), (440, 195))
    _bead(d, 400, 325, "2")
    d.wire("couple", (400, 325), (440, 325))
    _bead(d, 80, 195, "3")
    d.wire("couple", (80, 195), (20, 195))
    d.words(300, 165, "5 to 10 mm")
    d.words(20, 385, "1  control: on bare laminate beside the chip, out of the jet")
    d.words(20, 410, "2  edge: where the board is coldest")
    d.words(20, 435, "3  neighbour: on what must not get hot, if there is any")
    d.words(20, 460, "Leave wires along the board for 20 mm: they carry heat away.")
    d.words(510, 36, "From the side", strong=True)
    rows = (
        (85, "good", "bead flat on the laminate, tape over bead and wire"),
        (185, "good", "bead in a drop of high-temperature adhesive"),
        (285, "wrong", "tape on the wire only: the bead stands in the air"),
        (385, "wrong", "bead on bare copper or a shield: it touches metal"),
    )
    for number, (y, verdict, said) in enumerate(rows):
        _side(d, y, number)
        d.words(510, y + 55, f"{verdict}:", strong=True)
        d.words(575, y + 55, said)
    return d.svg()


def _bead(d: Drawing, x: float, y: float, name: str) -> None:
    d.dot(x, y, 7)
    d.words(x, y - 13, name, "middle", strong=True)


def _side(d: Drawing, y: float, number: int) -> None:
    board = y + 20
    d.shape([(510, board), (910, board), (910, board + 14), (510, board + 14)], "#b9c4c1")
    lifted = number == 2
    bead = (640, board - (26 if lifted else 6))
    bent = (700, board - 4)
    d.wire("couple", bead, bent, (905, board - 4))
    if number == 3:
        d.shape([(600, board - 5), (690, board - 5), (690, board), (600, board)], "#14211f")
        bead = (640, board - 11)
    d.dot(*bead, 6)
    if number == 0:
        d.wire("low", (608, board - 1), (622, board - 14), (656, board - 16), (800, board - 9))
    if number == 1:
        d.shape(
            [(610, board), (622, board - 13), (640, board - 18), (658, board - 13), (670, board)],
            "none",
            "#14211f",
        )
    if lifted:
        d.wire("low", (720, board - 9), (800, board - 9))


DIAGRAMS = {
    "hardware-blocks.svg": block_diagram,
    "hardware-mains.svg": mains,
    "hardware-drives.svg": drives,
    "hardware-beads.svg": beads,
}


def main() -> int:
    for name, draw in DIAGRAMS.items():
        (PICTURES / name).write_text(draw(), encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
