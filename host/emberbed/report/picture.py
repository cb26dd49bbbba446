"""A run's chart as a PNG on white, for whoever cannot show an SVG: a chat, a slide, a label."""

import warnings
from io import BytesIO

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from emberbed.bench.prepare import NotReady
from emberbed.report.chart import SIZE_INCHES, STYLE, draw_chart
from emberbed.report.run_view import chart_of, view_of
from emberbed.store.run_store import RunStore

DOTS_PER_INCH = 150  # 1500 pixels wide: sharp on a screen and at half the width of A4
SOFTWARE = "emberbed"  # what the file says it was made by; nothing else is in it


def run_png(store: RunStore, run_id: int) -> bytes:
    """Return the chart of a run as the bytes of a PNG; the same run gives the same bytes.

    Raises NotReady for a run without readings.
    """
    view = view_of(store, run_id)
    if not len(view.series):
        mend = "export it as csv or json"
        raise NotReady([f"Run {run_id} has no readings, so there is no chart of it: {mend}"])
    chart = chart_of(view)
    stream = BytesIO()
    with mpl.rc_context(STYLE), warnings.catch_warnings():
        # a name in another script, for which matplotlib's own font has no letters
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        figure = Figure(figsize=SIZE_INCHES, dpi=DOTS_PER_INCH, facecolor="white")
        FigureCanvasAgg(figure)
        draw_chart(figure, chart)
        figure.savefig(stream, format="png", metadata={"Software": SOFTWARE})
    return stream.getvalue()
