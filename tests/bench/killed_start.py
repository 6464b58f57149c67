"""Prints what is left behind if the host of a virtual board is killed while it starts.  It checks nothing.

    python tests/bench/killed_start.py [--times 48] [--over 1.0]

It runs on Linux only.  The moments of the signal are spread evenly over the first second after the folder of the board
appeared.
"""

import argparse
import signal
import sys
import tempfile
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from killed_start import GIVEN_S, killed_start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--times", type=int, default=48, help="number of starts for each signal (%(default)s)")
    parser.add_argument("--over", type=float, default=1.0, metavar="SECONDS",
                        help="time after the folder appeared in which signals come (%(default)s)")
    args = parser.parse_args()
    for number in (signal.SIGKILL, signal.SIGTERM, signal.SIGHUP):
        with tempfile.TemporaryDirectory() as name:
            moments = [args.over * (k + 0.5) / args.times for k in range(args.times)]
            found = [killed_start(Path(name), moment, number) for moment in moments]
            folders = len(list(Path(name).glob("coilcount-*")))
        with_children = sum(1 for start in found if start.children)
        left = sum(1 for start in found if start.left)
        slowest = max(start.gone_s for start in found if not start.left) if left < len(found) else GIVEN_S
        print(
            f"{number.name}: {args.times} starts, {with_children} had children when the signal came; "
            f"{left} left a process behind, the others ended within {slowest:.2f} s; {folders} folders left",
            flush=True,
        )


if __name__ == "__main__":
    piped.run(main)
