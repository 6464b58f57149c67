"""The virtual board's coil: writes one fixed record a millisecond of scene time into a pipe.

`python -m coilcount.simulate.feed --scene NAME_OR_FILE --out FIFO [--seed N] [--pace X] [--for SECONDS] [--host FD]`

coilwire.virtual_board describes the record.  first_edge and t_first wrap at 2^32.  While the plug is out, n is 0.
When it is in again, the board boots, so edges and timestamps start again from 0.  The [[lost]] records of a scene get
lost after the board, so the feed keeps them.

Pace 1 is real time, in batches of 10 ms with absolute deadlines; 0 is as fast as the reader reads.  Without --for the
feed ends with the scene.  With a longer --for (inf: until stopped) the events of the scene are repeated.
The feed ends without a message on SIGTERM, if the reader closes the pipe, or if the other end of the pipe --host is
closed.
"""

import argparse
import os
import signal
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from coilwire.records import U32
from coilwire.virtual_board import FIELDS, FORMAT

from coilcount.errors import CoilcountError, InputError
from coilcount.simulate.edges import BLOCK_MS
from coilcount.simulate.load import load_scene
from coilcount.simulate.source import Second, Source
from coilcount.text import printable

# The letters of `struct` as codes of numpy.
_CODES = {"I": "u4", "H": "u2"}
RECORD = np.dtype([(name, "<" + _CODES[code]) for name, code in zip(FIELDS, FORMAT[1:], strict=True)])
BATCH_MS = 10


def pack(second: Second) -> bytes:
    """Pack the 1000 records of one second."""
    out = np.empty(BLOCK_MS, dtype=RECORD)
    for name in RECORD.names:
        values = getattr(second.sums if hasattr(second.sums, name) else second, name)
        wraps = name in ("first_edge", "t_first")
        out[name] = values % U32 if wraps else np.minimum(values, np.iinfo(RECORD[name]).max)
    return out.tobytes()


def feed(source: Source, out: int, pace: float, total_ms: float) -> None:
    """Write the records of `total_ms` milliseconds (inf: without end) to the file descriptor `out`."""
    step = BATCH_MS if pace else BLOCK_MS
    sent_ms = 0
    begin = None
    # The next second is computed in a thread, so that no batch has to wait for it.
    with ThreadPoolExecutor(1) as ahead:
        following = ahead.submit(lambda: pack(source.second()))
        while sent_ms < total_ms:
            data = following.result()
            following = ahead.submit(lambda: pack(source.second()))
            begin = time.monotonic() if begin is None else begin
            for start in range(0, BLOCK_MS, step):
                if pace:
                    # A batch is sent when its last millisecond is over.  Deadlines are absolute, so delays do not add.
                    time.sleep(max(0.0, begin + (sent_ms + step) / 1000 / pace - time.monotonic()))
                part = data[start * RECORD.itemsize : (start + step) * RECORD.itemsize]
                _write(out, part[: int(max(0, min(step, total_ms - sent_ms))) * RECORD.itemsize])
                sent_ms += step


def _write(out: int, data: bytes) -> None:
    while data:
        data = data[os.write(out, data) :]


def end_with(host: int) -> None:
    """End this process at once when the other end of the pipe `host` (a descriptor) is closed."""

    def watch() -> None:
        while os.read(host, 1):
            pass
        os._exit(0)  # not sys.exit: the main thread may be waiting for a pipe that nobody will ever open

    threading.Thread(target=watch, daemon=True).start()


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m coilcount.simulate.feed", description="The virtual board's coil.")
    parser.add_argument("--scene", required=True, help="a built-in scene or a TOML file")
    parser.add_argument("--seed", type=int, help="instead of the scene's own")
    parser.add_argument("--pace", type=float, default=1.0, help="1 real time, 0 as fast as it is read")
    parser.add_argument("--out", required=True, help="an existing pipe, or a file")
    parser.add_argument("--for", dest="seconds", type=float, help="instead of the scene's duration; inf: until stopped")
    parser.add_argument("--host", type=int, metavar="FD", help="end when the other end of this pipe is closed")
    args = parser.parse_args(argv)
    if args.host is not None:
        end_with(args.host)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    try:
        if not args.pace >= 0:
            raise InputError(f"--pace is {args.pace:g}", remedy="Give 0 or more")
        scene = load_scene(args.scene)
        source = Source(scene, args.seed)
        out = os.open(args.out, os.O_WRONLY)
    except CoilcountError as error:
        print(printable(f"coilcount feed: {error}"), file=sys.stderr)
        return error.exit_code
    except OSError as error:
        print(printable(f"coilcount feed: cannot write to {args.out}: {error.strerror}"), file=sys.stderr)
        return 2
    try:
        feed(source, out, args.pace, 1000 * (scene.duration_s if args.seconds is None else args.seconds))
    except (BrokenPipeError, KeyboardInterrupt):
        pass
    finally:
        os.close(out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
