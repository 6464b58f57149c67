"""Writes a scene as a capture with its labels.  The same scene, seed and interval give the same bytes."""

from collections.abc import Callable
from pathlib import Path

from coilwire.records import U32

from coilcount.capture.failures import cannot_write
from coilcount.capture.labels import labels_path, put_labels
from coilcount.capture.writer import CaptureWriter
from coilcount.errors import InputError
from coilcount.model import Header
from coilcount.new_files import new_paths
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.dprime import yardstick
from coilcount.simulate.edges import TICK_S
from coilcount.simulate.lines import entries
from coilcount.simulate.scene import Scene
from coilcount.simulate.truth import labels

PROGRESS_S = 10.0  # of scene time
# To be raised if the same scene and seed give other bytes than before.  A recorder writes its version in this place.
SIMULATION = "simulation 3"
MIN_INTERVAL_MS = 5


def write_simulation(
    scene: Scene,
    name: str,
    path: Path,
    seed: int | None = None,
    interval_ms: int = 20,
    progress: Callable[[float], None] = lambda share: None,
) -> dict[str, int | float]:
    """Write the capture at `path` and its labels beside it: both or neither.  Neither may exist already.

    name: of the scene; progress: called with the share that is done.
    Returns seed, duration_s, lines and labels_written.  Raises InputError or StorageError.
    """
    seed = scene.seed if seed is None else seed
    f0_hz = CoilModel(scene).f0_hz
    _check_interval(f0_hz, interval_ms)
    header = Header(
        source="simulate",
        start_utc=scene.start_utc,
        host_version=SIMULATION,
        command=("coilcount", "simulate", name, "--seed", str(seed), "--interval-ms", str(interval_ms)),
        notes={"simulated": "made by computation, no hardware", "scene": name, "title": scene.title},
        simulated=True,
    )
    shown_s = 0.0
    try:
        with new_paths(path, labels_path(path)) as (capture, truth):
            with CaptureWriter(capture, header, final=path) as writer:
                for entry in entries(scene, seed, interval_ms):
                    writer.write(entry)
                    if entry.host_s >= shown_s:
                        progress(min(0.99, entry.host_s / scene.duration_s))
                        shown_s += PROGRESS_S
            found = labels(scene, lambda: yardstick(scene, f0_hz, interval_ms))
            with open(truth, "x", newline="", encoding="utf-8") as file:
                put_labels(file, found)
    except OSError as error:
        raise cannot_write(error, path) from None
    progress(1.0)
    return {"seed": seed, "duration_s": scene.duration_s, "lines": writer.lines, "labels_written": len(found)}


def _check_interval(f0_hz: float, interval_ms: int) -> None:
    """Refuse an interval whose sum (n^2/2 periods, in ticks) would not fit 32 bits."""
    most_ms = int(1000 * (2 * TICK_S * U32 / f0_hz) ** 0.5)
    if not MIN_INTERVAL_MS <= interval_ms <= most_ms:
        raise InputError(
            f"an interval of {interval_ms} ms at {f0_hz / 1000:.1f} kHz",
            "--interval-ms",
            f"Give {MIN_INTERVAL_MS} to {most_ms}",
        )
