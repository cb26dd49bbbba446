"""A few strokes for diagrams: boxes, wires by kind, words; everything on a grid, as SVG text.

Kinds of wires differ by width and dash, never by colour alone, so that a black and white print
shows them too. Positions are in pixels of the picture.
"""

from collections.abc import Sequence
from html import escape

Point = tuple[float, float]

INK, PAPER, QUIET = "#14211f", "#fdfdfb", "#4a5856"
# kind -> stroke, width, dash
WIRES = {
    "mains": ("#a33a00", 4, ""),
    "earth": ("#2f6136", 3, "12 4 2 4"),
    "low": (INK, 2, ""),
    "signal": ("#0a567f", 2, "7 4"),
    "couple": ("#56297f", 2, "2 3"),
    "heat": ("#a33a00", 2, "1 5"),
}
SIZE = 15


class Drawing:
    def __init__(self, width: int, height: int, title: str) -> None:
        self._head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}"'
            f' width="{width}" height="{height}" role="img" font-size="{SIZE}"'
            ' font-family="system-ui, DejaVu Sans, sans-serif">\n'
            f"<title>{escape(title)}</title>\n"
            f'<rect width="{width}" height="{height}" fill="{PAPER}"/>\n'
        )
        self._parts: list[str] = []

    def box(self, x: float, y: float, w: float, h: float, *lines: str, bold: bool = False) -> None:
        """Draw a box with lines of words in its middle, the first one strong."""
        width = 4 if bold else 2
        self._add(
            f'<rect x="{x:g}" y="{y:g}" width="{w:g}" height="{h:g}" rx="4" fill="#fff"'
            f' stroke="{INK}" stroke-width="{width}"/>'
        )
        top = y + h / 2 - (len(lines) - 1) * 9 + 5
        for number, line in enumerate(lines):
            self.words(x + w / 2, top + number * 18, line, "middle", strong=number == 0)

    def wire(self, kind: str, *points: Point, arrow: bool = False) -> None:
        """Draw a wire through points; its kind gives colour, width and dash."""
        stroke, width, dash = WIRES[kind]
        path = " ".join(f"{x:g},{y:g}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._add(
            f'<polyline points="{path}" fill="none" stroke="{stroke}" stroke-width="{width}"'
            f'{dashes} stroke-linejoin="round"/>'
        )
        if arrow:
            self._arrow(stroke, points[-2], points[-1])

    def _arrow(self, fill: str, before: Point, tip: Point) -> None:
        dx, dy = tip[0] - before[0], tip[1] - before[1]
        length = (dx * dx + dy * dy) ** 0.5
        ux, uy = dx / length * 9, dy / length * 9
        corners = [
            tip,
            (tip[0] - ux - uy / 2, tip[1] - uy + ux / 2),
            (tip[0] - ux + uy / 2, tip[1] - uy - ux / 2),
        ]
        self.shape(corners, fill)

    def shape(self, corners: Sequence[Point], fill: str = INK, stroke: str = "none") -> None:
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in corners)
        self._add(f'<polygon points="{path}" fill="{fill}" stroke="{stroke}" stroke-width="2"/>')

    def words(
        self, x: float, y: float, text: str, anchor: str = "start", strong: bool = False
    ) -> None:
        weight = ' font-weight="650"' if strong else ""
        self._add(
            f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" fill="{INK}"{weight}>'
            f"{escape(text)}</text>"
        )

    def dot(self, x: float, y: float, radius: float = 4, fill: str = INK) -> None:
        self._add(
            f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="{fill}" stroke="{INK}"'
            ' stroke-width="2"/>'
        )

    def legend(self, x: float, y: float, kinds: dict[str, str], step: float = 200) -> None:
        """Name kinds of wires in a row."""
        for number, (kind, said) in enumerate(kinds.items()):
            at = x + number * step
            self.wire(kind, (at, y), (at + 44, y))
            self.words(at + 52, y + 5, said)

    def svg(self) -> str:
        return self._head + "\n".join(self._parts) + "\n</svg>\n"

    def _add(self, part: str) -> None:
        self._parts.append(part)
