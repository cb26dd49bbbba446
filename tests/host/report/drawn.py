"""Drawn charts and what stands in them."""

import xml.etree.ElementTree as ElementTree

import numpy as np

from emberbed.report.chart import run_chart_svg
from emberbed.report.chart_model import Chart, Curve

SVG = "{http://www.w3.org/2000/svg}"
SECONDS = np.arange(0, 300, 0.5)


def course(name, offset=0.0):
    return Curve(name, SECONDS, 25 + SECONDS / 5 + offset)


def drawn(**parts):
    return ElementTree.fromstring(run_chart_svg(Chart(**parts)))


def texts(root):
    return ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]


def strokes(root):
    """Return the style of every drawn path that is a stroked line."""
    return [path.get("style", "") for path in root.iter(f"{SVG}path") if path.get("clip-path")]
