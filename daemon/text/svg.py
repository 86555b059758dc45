"""The one place that imports matplotlib: a blank figure, and its way into a file."""

import io
from pathlib import Path
from typing import Any

from cabinvigil.daemon.text.errors import CabinvigilError
from cabinvigil.daemon.text.files import put_whole, remedy
from cabinvigil.daemon.text.libraries import put_in

FONT_PT = 11.0
_NOTHING = {"Date": None, "Creator": None, "Format": None, "Type": None}


class DrawingError(CabinvigilError, RuntimeError):
    """Nothing can be drawn; the message says what to do."""


def blank(inches: tuple[float, float]) -> Any:
    """Return a figure without anything on it; text stays text in an SVG.

    Raises:
        DrawingError: matplotlib is not installed.
    """
    try:
        import matplotlib as mpl
        from matplotlib.backends.backend_svg import FigureCanvasSVG
        from matplotlib.figure import Figure
    except ImportError:
        raise DrawingError(
            "needs matplotlib: install it with "
            + put_in("matplotlib", "python3-matplotlib")
        ) from None
    mpl.rcParams.update({"svg.fonttype": "none", "font.size": FONT_PT})
    figure: Any = Figure(figsize=inches, layout="constrained")
    FigureCanvasSVG(figure)
    return figure


def save(figure: Any, path: Path) -> None:
    """Write a figure to a file, in the format of its ending.

    Raises:
        DrawingError: it cannot be written.
    """
    try:
        put_whole(path, figure.savefig)
    except OSError as error:
        raise DrawingError(
            f"{path} cannot be written: {error.strerror or error}; {remedy(error)}"
        ) from None
    except ValueError as error:
        raise DrawingError(
            f"{path} cannot be written: {error}; give a file that ends in .png, .svg "
            "or .pdf"
        ) from None


def as_svg(figure: Any, key: str) -> str:
    """Return a figure as SVG; the same figure with the same key gives the same text."""
    import matplotlib as mpl

    text = io.StringIO()
    with mpl.rc_context({"svg.hashsalt": key}):
        figure.savefig(text, format="svg", transparent=True, metadata=_NOTHING)
    return text.getvalue()
