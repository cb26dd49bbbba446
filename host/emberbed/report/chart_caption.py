"""What the lines of a chart are, in words as they are drawn: colour, line style, name."""

from emberbed.report.chart import COLOUR_NAMES, STYLE_NAMES
from emberbed.report.chart_model import Chart

REST = (
    "Shaded: every other stage; it is named, or has its number, above. Thin vertical lines: the"
    " numbered events below."
)


def caption_of(chart: Chart) -> str:
    """Return the caption; names are text as they came."""
    lines = []
    for number, curve in enumerate(chart.measured):
        colour = COLOUR_NAMES[number % len(COLOUR_NAMES)]
        style = STYLE_NAMES[number % len(STYLE_NAMES)]
        lines.append(f"{colour} {style}".strip() + f": {curve.name}")
    if chart.asked is not None:
        lines.append(f"dotted, in the colour of the text: {chart.asked.name}")
    drawn = "; ".join(lines)
    return f"{drawn[:1].upper()}{drawn[1:]}. {REST}" if drawn else REST
