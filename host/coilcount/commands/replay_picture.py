"""`replay --picture`: what the picture of a replay needs is gathered here while the capture is replayed."""

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from coilcount.errors import InputError

_SLOW_EVERY_S = 1.0  # threshold, baseline and temperature change slowly.  Chosen by hand


def check_pictures(args: Any, recordings: Sequence[Any]) -> None:
    """Raises InputError if a picture exists already, or if two recordings would give pictures of one name."""
    import os

    if args.picture is None:
        return
    names: dict[str, str] = {}
    for file in (recording.name for recording in recordings):
        name = picture_name(file)
        if name in names:
            raise InputError(
                f'two recordings would give pictures of the name "{name}"', file, "Draw them one by one, in two folders"
            )
        names[name] = file
        for suffix in ("svg", "png"):
            path = Path(args.picture) / f"{name}.{suffix}"
            if os.path.lexists(path):
                raise InputError("the picture exists", str(path), "Nothing is ever overwritten: give another folder")


def picture_name(file: str) -> str:
    """The name of a capture's pictures without their suffix: that of the capture without .ccap and .gz."""
    return Path(file).name.removesuffix(".gz").removesuffix(".ccap")


class ReplayPicture:
    """Give it every entry and every output of the chain, points included; use as a context manager.

    The pictures are drawn at the end.  They appear together when they are whole.
    """

    def __init__(self, folder: str, file: str, chain: Any) -> None:
        from coilcount.face.replay_trace import Trace

        self._folder = folder
        self._file = file
        self._chain = chain
        self._trace = Trace(file)
        self._next_slow_s = -math.inf
        self._begun = False  # an imported reading has come
        self._frozen_since_s: float | None = None

    def __enter__(self) -> "ReplayPicture":
        from coilcount.capture.labels import labels_path, read_labels

        labels = labels_path(self._file)
        if labels.exists():  # wrong labels are reported before the work
            self._trace.labels = read_labels(labels)
        return self

    def __exit__(self, failed: Any, *_: Any) -> None:
        if failed is None:
            self._draw()

    def begin(self, entry: Any) -> None:
        """Take each entry before the chain does: the header says where and when it was recorded."""
        from coilcount.model import Header, Imported

        trace = self._trace
        if type(entry) is Header:
            trace.simulated, trace.start_utc = entry.simulated, entry.start_utc
        elif type(entry) is Imported and not self._begun:
            self._begun = True
            trace.start_s = entry.time_s

    def take(self, output: Any) -> None:
        """Keep what the picture shows of one output."""
        from coilcount.model import Alert, Hold, MarkMade, Point, Silence, Summary

        trace = self._trace
        if type(output) is Point:
            self._point(output)
        elif type(output) is Summary:
            trace.end_s = trace.start_s + output.duration_s
        elif type(output) is MarkMade:
            trace.marks.append(output)
        elif type(output) is Silence:
            trace.silences.append(output)
        elif type(output) in (Alert, Hold) and output.stage == "final":
            (trace.alerts if type(output) is Alert else trace.holds).append(output)

    def _point(self, point: Any) -> None:
        trace = self._trace
        (trace.time_s if point.ready else trace.warm_up_s).append(point.time_s)
        (trace.shift_ppm if point.ready else trace.warm_up_ppm).append(point.shift_ppm)
        if point.frozen != (self._frozen_since_s is not None):
            if point.frozen:
                self._frozen_since_s = point.time_s
            else:
                self._end_frozen(point.time_s)
        if point.time_s >= self._next_slow_s:
            self._next_slow_s = point.time_s + _SLOW_EVERY_S
            facts = self._chain.facts()
            trace.slow_s.append(point.time_s)
            # During the warm-up behind a gap the baseline may still be the one before it.
            trace.baseline_hz.append(point.baseline_hz if point.ready else math.nan)
            levels = facts.threshold_ppm
            trace.rise_ppm.append(math.nan if levels is None else levels.rise)
            trace.fall_ppm.append(math.nan if levels is None else levels.fall)
            trace.temperature_c.append(math.nan if facts.temperature_c is None else facts.temperature_c)

    def _end_frozen(self, end_s: float) -> None:
        self._trace.frozen.append((self._frozen_since_s, end_s))
        self._frozen_since_s = None

    def _draw(self) -> None:
        from coilcount.face.picture_replay import draw_replay

        trace = self._trace
        if not trace.time_s and not trace.warm_up_s:
            raise InputError("the capture holds no readings, so there is no picture", self._file)
        if self._frozen_since_s is not None:
            self._end_frozen(trace.end_s)
        draw_replay(trace, Path(self._folder), picture_name(self._file))
