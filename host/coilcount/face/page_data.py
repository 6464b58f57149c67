"""Packs a recording for the report page.

A packed recording is base64 of a raw deflate stream of these bytes:

- 4 bytes, little-endian: the length of the head
- the head, JSON in ASCII: everything but the readings
- the shift of each reading, then the detection statistic of each reading, as the head's `shift` and `statistic` say:
  whole numbers of `step`, as differences to the value before (modulo 256 to the power of `bytes`), the lowest byte of
  all values first, then the next byte of all values.  So the rarely used bytes lie together and compress well.

The times of the readings are runs [time_s of the first, spacing_s, number].
"""

import base64
import math
import zlib
from array import array
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from coilcount.face.json_out import as_json
from coilcount.model import PROPOSED, Alert, AtThreshold
from coilcount.model.report import PageRecording
from coilcount.settings import SCHEMA, SECTIONS, toml_line
from coilcount.text import printable

# A reading is stored in steps of about a tenth of its noise: finer digits would cost bytes and show nothing.
_STEPS_OF_NOISE = 10.0
_FINEST_PPM, _COARSEST_PPM = 0.001, 1.0  # limits of the step of the shift; chosen by hand
_SIGMA_STEP = 0.05  # of the statistic, whose threshold is set in steps of about 0.2
_RUN_SLACK = 0.5  # of the spacing: a reading this far off its place begins a new run
_LONGEST_TEXT = 400  # characters of one note, mark or warning that the page shows; chosen by hand
_MOST_WARNINGS = 50  # as many as `replay` prints; chosen by hand


def packed(recording: PageRecording) -> str:
    """The recording in base64, as the page unpacks it."""
    series = recording.replay.series
    shift_step = shift_step_ppm(recording.replay.summary.noise_ppm)
    shift, shift_bytes = _planes(series.shift_ppm, shift_step)
    statistic, statistic_bytes = _planes(series.statistic, _SIGMA_STEP)
    head = {
        **_head(recording),
        "shift": {"step": shift_step, "bytes": shift_bytes},
        "statistic": {"step": _SIGMA_STEP, "bytes": statistic_bytes},
    }
    text = as_json(head, (",", ":")).encode("ascii")
    deflate = zlib.compressobj(9, zlib.DEFLATED, -15)
    data = deflate.compress(len(text).to_bytes(4, "little") + text + shift + statistic) + deflate.flush()
    return base64.b64encode(data).decode("ascii")


def shift_step_ppm(noise_ppm: float | None) -> float:
    """The step in which shifts are stored: 1, 2 or 5 times a power of ten, at most a tenth of the noise."""
    wanted = min(max((noise_ppm or 0.0) / _STEPS_OF_NOISE, _FINEST_PPM), _COARSEST_PPM)
    power = math.floor(math.log10(wanted) + 1e-9)
    factor = max(factor for factor in (1, 2, 5) if factor * 10.0**power <= wanted * (1 + 1e-9))
    return float(f"{factor}e{power}")


def _planes(values: Sequence[float], step: float) -> tuple[bytes, int]:
    """The values in steps, as differences in byte planes, and the bytes of one value: 2, or 4 for a wide span."""
    steps = [round(value / step) for value in values]
    size = 2 if max(map(abs, steps), default=0) < 1 << 15 else 4
    mask = (1 << 8 * size) - 1
    differences = array("H" if size == 2 else "I")
    before = 0
    for value in steps:
        differences.append((value - before) & mask)
        before = value
    data = b"".join(value.to_bytes(size, "little") for value in differences)
    return b"".join(data[plane::size] for plane in range(size)), size


def runs(time_s: Sequence[float]) -> list[list[float]]:
    """The times as runs of even spacing: [time of the first, spacing, number of readings]."""
    if len(time_s) < 2:
        return [[round(time, 6), 0.0, 1] for time in time_s]
    gaps = sorted(after - before for before, after in pairwise(time_s))
    spacing = gaps[len(gaps) // 2]
    found = []
    first = 0
    for i in range(1, len(time_s) + 1):
        if i < len(time_s) and abs(time_s[i] - time_s[i - 1] - spacing) <= _RUN_SLACK * spacing:
            continue
        count = i - first
        own = (time_s[i - 1] - time_s[first]) / (count - 1) if count > 1 else spacing
        found.append([round(time_s[first], 6), round(own, 9), count])
        first = i
    return found


def _head(recording: PageRecording) -> dict[str, Any]:
    replay, header = recording.replay, recording.replay.header
    summary = replay.summary
    alerts = _Alerts()
    return {
        "name": printable(replay.name),
        "parts": [printable(part) for part in replay.parts],
        "labelFile": printable(recording.label_file),
        "simulated": header.simulated,
        "startUtc": printable(header.start_utc),
        "source": printable(header.source),
        "recordedBy": printable(header.host_version),
        "command": _text(" ".join(header.command)),
        "board": {_text(name): _text(str(value)) for name, value in header.board.items()},
        "notes": {_text(name): _text(str(value)) for name, value in header.notes.items()},
        "build": _build(header.build, header.build_check),
        "settings": _settings_text(recording.settings),
        "otherSettings": _other_settings(header.settings, recording.settings),
        "durationS": round(summary.duration_s, 3),
        "baselineHz": summary.baseline_hz,
        "noisePpm": summary.noise_ppm,
        "counts": {
            name: getattr(summary, name) for name in ("records", "lost", "dropped", "damaged", "mended", "repaired")
        },
        "settingsSha256": summary.settings_sha256,
        "complaint": printable(replay.complaint),
        "warnings": [_text(text) for text in replay.warnings[:_MOST_WARNINGS]],
        "warningsLeftOut": max(0, len(replay.warnings) - _MOST_WARNINGS),
        "labelComplaints": [_text(text) for text in recording.label_complaints],
        "labels": None if recording.labels is None else [_label(label) for label in recording.labels],
        "own": recording.own,
        "readyS": recording.ready_s,
        "nearS": recording.near_s,
        "readySpans": [[round(start_s, 6), round(end_s, 6)] for start_s, end_s in recording.ready_spans],
        "proposed": PROPOSED,
        "rateLimits": [[round(low, 4), round(high, 4)] for low, high in recording.rate_limits],
        "silences": [
            [round(silence.start_s, 3), round(silence.end_s, 3), _text(silence.reason)] for silence in replay.silences
        ],
        "marks": [[round(mark.time_s, 3), _text(mark.text)] for mark in replay.marks],
        "runs": runs(replay.series.time_s),
        "baseline": _once_a_second(replay.series.time_s, replay.series.baseline_hz),
        "status": _status(recording),
        "scale": [
            [round(reading.time_s, 2) for reading in recording.replay.scale],
            [float(f"{reading.ppm:.4g}") for reading in recording.replay.scale],
        ],
        "at": [_position(recording, number, at, alerts) for number, at in enumerate(replay.at)],
        "alerts": alerts.columns(),
    }


def _text(text: str) -> str:
    return printable(text, _LONGEST_TEXT)


def _label(label: Any) -> dict[str, Any]:
    # Not made printable: a label that is saved again must be what it was.  The page shows it as text.
    return {
        "start": label.start_s,
        "end": label.end_s,
        "closest": label.closest_s,
        "object": label.object,
        "metal": label.metal,
        "response": label.response,
        "depth": label.depth_cm,
        "note": label.note,
    }


def _build(build: dict[str, Any] | None, build_check: dict[str, Any] | None) -> dict[str, str] | None:
    if build is None:
        return None
    lines = _table_lines(_plain_dict(build.get("plan")))
    check = _plain_dict(_plain_dict(build_check).get("check"))
    if check:
        lines += ["", "# the latest check --build", *_table_lines(check)]
    lines = [printable(line) for line in lines]
    return {name: _text(str(build.get(name, ""))) for name in ("file", "sha256")} | {"plan": "\n".join(lines)}


def _table_lines(table: dict[str, Any]) -> list[str]:
    lines = []
    for name, value in table.items():
        lines += ["", f"[{name}]"] if isinstance(value, dict) else [f"{name} = {as_json(value)}"]
        lines += [f"{key} = {as_json(inner)}" for key, inner in _plain_dict(value).items()]
    return lines


def _plain_dict(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _settings_text(settings: dict[str, dict[str, Any]]) -> str:
    """The settings of the replays as a settings file."""
    lines = [f"schema = {SCHEMA}"]
    for section in SECTIONS:
        lines += ["", f"[{section}]", *(toml_line(name, value) for name, value in settings[section].items())]
    return "\n".join(lines)


def _other_settings(recorded: dict[str, Any], now: dict[str, dict[str, Any]]) -> list[str]:
    """The names of the tracker's settings that were different while recording."""
    then = recorded.get("tracker")
    if not isinstance(then, dict):
        return []
    return [name for name, value in now["tracker"].items() if name in then and then[name] != value]


def _once_a_second(time_s: Sequence[float], values: Sequence[float]) -> list[list[float]]:
    """[times, values] about once a second: the baseline moves slowly."""
    times, kept = [], []
    for time, value in zip(time_s, values, strict=True):
        if not times or time >= times[-1] + 1.0:
            times.append(round(time, 2))
            kept.append(round(value, 4))
    return [times, kept]


def _status(recording: PageRecording) -> dict[str, list[list[float]]]:
    """Temperature and supply, each as [times, values]; empty if the board does not measure it."""
    status = recording.replay.status
    warm = [reading for reading in status if reading.temperature_c is not None]
    supply = [reading for reading in status if reading.supply_v is not None]
    return {
        "temperature": [
            [round(reading.time_s, 1) for reading in warm],
            [round(reading.temperature_c, 2) for reading in warm],
        ],
        "supply": [
            [round(reading.time_s, 1) for reading in supply],
            [round(reading.supply_v, 3) for reading in supply],
        ],
    }


def _position(recording: PageRecording, number: int, at: AtThreshold, alerts: "_Alerts") -> dict[str, Any]:
    """One position of the slider."""
    figures = recording.figures[number] if recording.figures else None
    return {
        "threshold": at.threshold,
        "asked": at.asked_per_minute,
        "alerts": [alerts.number(alert) for alert in at.alerts],
        "findOf": list(recording.find_of[number]),
        "holds": [
            [round(hold.start_s, 3), None if hold.end_s is None else round(hold.end_s, 3), hold.sign]
            for hold in at.holds
        ],
        "figures": None
        if figures is None
        else {
            "passes": figures.passes,
            "found": figures.found,
            "foundLow": round(figures.found_low, 4),
            "foundHigh": round(figures.found_high, 4),
            "falseAlarms": figures.false_alarms,
            "minutes": figures.minutes,
            "rateLow": round(figures.rate_low, 4),
            "rateHigh": None if figures.rate_high is None else round(figures.rate_high, 4),
        },
    }


class _Alerts:
    """The alerts of all positions, each kept once: most are the same at many thresholds."""

    _NAMES = (
        *("peak", "sign", "response", "reasons", "score", "ppm", "hz", "confidence", "width", "seen", "open"),
        "rarity",
    )

    def __init__(self) -> None:
        self._numbers: dict[tuple, int] = {}

    def number(self, alert: Alert) -> int:
        """The number of an alert among those kept."""
        row = (
            round(alert.peak_s, 6),
            alert.sign,
            alert.response,
            alert.reasons,
            round(alert.score, 3),
            round(alert.peak_shift_ppm, 3),
            round(alert.peak_shift_hz, 4),
            None if alert.confidence is None else round(alert.confidence, 3),
            round(alert.width_s, 3),
            alert.seen,
            int(alert.open),
            None if alert.rarity_min is None else round(alert.rarity_min, 2),
        )
        return self._numbers.setdefault(row, len(self._numbers))

    def columns(self) -> dict[str, list]:
        """One list for each field; equal fields lie together and compress well."""
        return {name: [row[i] for row in self._numbers] for i, name in enumerate(self._NAMES)}
