"""Writes figures as SVG and PNG; the one place where pictures meet the disk."""

from pathlib import Path
from typing import Any

from coilcount.errors import StorageError


def write_figures(figures: dict[str, Any], folder: Path) -> list[Path]:
    """Write NAME.svg and NAME.png of each matplotlib Figure into `folder`, made where needed; returns their paths.

    Raises StorageError where the folder or a file cannot be written.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        # No date and no random names in the SVG: the same figures give the same files.
        with rc_context({"svg.hashsalt": "coilcount"}):
            for name, figure in figures.items():
                for canvas, suffix in ((FigureCanvasSVG, "svg"), (FigureCanvasAgg, "png")):
                    path = folder / f"{name}.{suffix}"
                    canvas(figure).print_figure(path, dpi=110, metadata={"Date": None} if suffix == "svg" else None)
                    written.append(path)
    except OSError as error:
        raise StorageError(f"cannot write the pictures: {error.strerror}", str(folder)) from None
    return written
