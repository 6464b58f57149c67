"""Writes figures as SVG and PNG.  All pictures are written here."""

from pathlib import Path
from typing import Any

from coilcount.errors import InputError, StorageError
from coilcount.new_files import new_paths


def write_figures(figures: dict[str, Any], folder: Path) -> list[Path]:
    """Write NAME.svg and NAME.png of each matplotlib Figure into `folder`, made if needed; returns their paths.

    All of the files appear, or none.  Raises InputError if one exists, StorageError if the folder or a file cannot be
    written.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    canvases = {"svg": FigureCanvasSVG, "png": FigureCanvasAgg}
    wanted = [(folder / f"{name}.{suffix}", figure, suffix) for name, figure in figures.items() for suffix in canvases]
    paths = [path for path, _, _ in wanted]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        # The SVG has no date and no random names, so that the same figures give the same files.
        with new_paths(*paths) as temporaries, rc_context({"svg.hashsalt": "coilcount"}):
            for temporary, (_, figure, suffix) in zip(temporaries, wanted, strict=True):
                metadata = {"Date": None} if suffix == "svg" else None
                canvases[suffix](figure).print_figure(temporary, format=suffix, dpi=110, metadata=metadata)
    except FileExistsError as error:
        raise InputError(
            "the picture exists", str(error.filename), "Nothing is ever overwritten: give another folder"
        ) from None
    except OSError as error:
        raise StorageError(f"cannot write the pictures: {error.strerror}", str(folder)) from None
    return paths
