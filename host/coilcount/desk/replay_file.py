"""A replay at several thresholds as bytes, and back.  Every number comes back exactly.

The bytes are a line of JSON with the lengths and the SHA-256 of what follows, then the replay as compressed JSON, then
the readings, if they were kept.  Nothing in them is ever run as code.
"""

import hashlib
import json
import zlib
from array import array
from dataclasses import asdict, astuple, fields
from operator import attrgetter
from typing import Any

from coilcount.model import (
    Alert,
    AtThreshold,
    GridReplay,
    Header,
    Hold,
    MarkMade,
    ScaleReading,
    Series,
    Silence,
    StatusReading,
    Summary,
)

FORMAT = "coilcount-replay"
SCHEMA = 3
# zlib's fastest level: the others save a few percent and take several times as long.
_LEVEL = 1
_ALERT_FIELDS = tuple(field.name for field in fields(Alert))
_REASONS = _ALERT_FIELDS.index("reasons")
_alert_values = attrgetter(*_ALERT_FIELDS)


def encode(replay: GridReplay) -> bytes:
    """A replay as bytes.  Raises ValueError if it cannot be kept exactly."""
    value = {
        "name": replay.name,
        "parts": replay.parts,
        "header": asdict(replay.header),
        "complaint": replay.complaint,
        "summary": astuple(replay.summary),
        "ready_minutes": replay.ready_minutes,
        "ready_spans": replay.ready_spans,
        "at": [
            (
                at.threshold,
                [_alert_values(alert) for alert in at.alerts],
                [astuple(hold) for hold in at.holds],
                at.asked_per_minute,
            )
            for at in replay.at
        ],
        "own": replay.own,
        "silences": [astuple(silence) for silence in replay.silences],
        "marks": [astuple(mark) for mark in replay.marks],
        "warnings": replay.warnings,
        "scale": [astuple(scale) for scale in replay.scale],
        "status": [astuple(status) for status in replay.status],
    }
    blocks = [zlib.compress(json.dumps(value, separators=(",", ":")).encode("ascii"), _LEVEL)]
    if replay.series is not None:
        blocks += _encode_series(replay.series)
    head = {
        "format": FORMAT,
        "schema": SCHEMA,
        "blocks": [len(block) for block in blocks],
        "sha256": _sha256(b"".join(blocks)),
    }
    return b"".join([json.dumps(head).encode("ascii"), b"\n", *blocks])


def decode(data: bytes, series: bool = False) -> GridReplay | None:
    """The replay in bytes from encode(); None if `series` is asked for and not in there.

    Without `series` the result has none.  Raises ValueError if the bytes are damaged or of another schema.
    """
    try:
        line, _, rest = data.partition(b"\n")
        head = json.loads(line)
        if (head["format"], head["schema"], head["sha256"]) != (FORMAT, SCHEMA, _sha256(rest)):
            raise ValueError("damaged, or of another version")
        blocks = []
        for length in head["blocks"]:
            blocks.append(rest[:length])
            rest = rest[length:]
        if series and len(blocks) == 1:
            return None
        value = json.loads(zlib.decompress(blocks[0]))
        return _replay(value, _decode_series(blocks[1:]) if series else None)
    except (KeyError, TypeError, AttributeError, IndexError, zlib.error, RecursionError) as error:
        raise ValueError(f"damaged: {error!r}") from None


def _replay(value: dict[str, Any], series: Series | None) -> GridReplay:
    header = value["header"]
    return GridReplay(
        name=value["name"],
        parts=tuple(value["parts"]),
        header=Header(**{**header, "command": tuple(header["command"])}),
        complaint=value["complaint"],
        summary=Summary(*value["summary"]),
        ready_minutes=value["ready_minutes"],
        ready_spans=tuple(map(tuple, value["ready_spans"])),
        at=tuple(
            AtThreshold(threshold, tuple(map(_alert, alerts)), tuple(Hold(*hold) for hold in holds), asked)
            for threshold, alerts, holds, asked in value["at"]
        ),
        own=value["own"],
        silences=tuple(Silence(*row) for row in value["silences"]),
        marks=tuple(MarkMade(*row) for row in value["marks"]),
        warnings=tuple(value["warnings"]),
        status=tuple(StatusReading(*row) for row in value["status"]),
        series=series,
        scale=() if series is None else tuple(ScaleReading(*row) for row in value["scale"]),
    )


def _alert(row: list) -> Alert:
    row[_REASONS] = tuple(row[_REASONS])
    return Alert(*row)


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


# ------------------------------------------------------------ readings


def _encode_series(series: Series) -> list[bytes]:
    """The times as steps of whole microseconds, and three columns of floats.  The shift follows from two of them."""
    import numpy as np

    time_s = np.frombuffer(series.time_s)
    time_us = np.rint(1e6 * time_s).astype("<i8")
    shift_ppm = _shift_ppm(np.frombuffer(series.frequency_hz), np.frombuffer(series.baseline_hz))
    if not (np.array_equal(time_us / 1e6, time_s) and np.array_equal(shift_ppm, np.frombuffer(series.shift_ppm))):
        raise ValueError("these readings are not those of a replay")
    blocks = [zlib.compress(np.diff(time_us, prepend=0).tobytes(), _LEVEL)]
    for column in (series.frequency_hz, series.baseline_hz, series.statistic):
        # Neighbours differ in their last bits alone.  All first bytes together, then all second ones, and so on,
        # compress better than one number after the other.
        bits = np.frombuffer(column, "<u8").copy()
        bits[1:] ^= bits[:-1].copy()
        blocks.append(zlib.compress(bits.view(np.uint8).reshape(-1, 8).T.tobytes(), _LEVEL))
    return blocks


def _decode_series(blocks: list[bytes]) -> Series:
    import numpy as np

    steps, *packed = map(zlib.decompress, blocks)
    time_s = np.cumsum(np.frombuffer(steps, "<i8")) / 1e6
    columns = []
    for data in packed:
        bits = np.frombuffer(data, np.uint8).reshape(8, -1).T.copy().view("<u8").ravel()
        columns.append(np.bitwise_xor.accumulate(bits).view("<f8"))
    frequency_hz, baseline_hz, statistic = columns
    shift_ppm = _shift_ppm(frequency_hz, baseline_hz)
    in_order = (time_s, frequency_hz, baseline_hz, shift_ppm, statistic)
    return Series(*(array("d", column.tobytes()) for column in in_order))


def _shift_ppm(frequency_hz: Any, baseline_hz: Any) -> Any:
    """The same arithmetic as chain.outputs.levels(), so that the result is the same to the last bit."""
    return 1e6 * (frequency_hz - baseline_hz) / baseline_hz
