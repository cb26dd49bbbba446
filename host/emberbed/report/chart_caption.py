"""What the lines of a chart are, in words as they are drawn: colour, line style, name."""

from emberbed.report.chart import COLOUR_NAMES, STYLE_NAMES
from emberbed.report.chart_model import Chart

REST = (
    "Shaded: every other stage; it is named, or has its number, above. Thin vertical lines: the"
    " numbered events below."
)
FLAGS = "Strong vertical lines: what a person marked or changed."
SOLID = "solid"
LIMITS = "Level line: a limit."
SPANS = {
    "hot air": "Hatched with lines: hot air from above was on.",
    "held": "Hatched with dots: a person held the temperature there.",
}


def caption_of(chart: Chart, in_colour: bool = True) -> str:
    """Return the caption; names are text as they came. Without colour, line styles alone tell."""
    lines = []
    for number, curve in enumerate(chart.measured):
        colour = COLOUR_NAMES[number % len(COLOUR_NAMES)] if in_colour else ""
        style = STYLE_NAMES[number % len(STYLE_NAMES)]
        role = f" ({curve.role})" if curve.role else ""
        lines.append((f"{colour} {style}".strip() or SOLID) + f": {curve.name}{role}")
    if chart.asked is not None:
        lines.append(f"dotted{', in the colour of the text' * in_colour}: {chart.asked.name}")
    drawn = "; ".join(lines)
    opening = [f"{drawn[:1].upper()}{drawn[1:]}."] if drawn else []
    return " ".join([*opening, REST, *_person_lines(chart)])


def _person_lines(chart: Chart) -> list[str]:
    kinds = {span.kind for span in chart.spans}
    spans = [said for kind, said in SPANS.items() if kind in kinds]
    return ([LIMITS] if chart.limits else []) + ([FLAGS] if chart.flags else []) + spans
