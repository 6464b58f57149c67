"""Prints what is left behind if the host of a virtual board is killed while it starts.  Nothing passes or fails.

    python tests/bench/killed_start.py [--times 48] [--over 1.0]

On this machine, Linux alone.  The moments are spread evenly over the first second after the board's folder appeared.
"""

import argparse
import signal
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))
from killed_start import GIVEN_S, killed_start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--times", type=int, default=48, help="moments for each signal (%(default)s)")
    parser.add_argument("--over", type=float, default=1.0, metavar="SECONDS", help="of the start (%(default)s)")
    args = parser.parse_args()
    for number in (signal.SIGKILL, signal.SIGTERM, signal.SIGHUP):
        with tempfile.TemporaryDirectory() as name:
            moments = [args.over * (k + 0.5) / args.times for k in range(args.times)]
            found = [killed_start(Path(name), moment, number) for moment in moments]
            folders = len(list(Path(name).glob("coilcount-*")))
        with_children = sum(1 for one in found if one.children)
        left = sum(1 for one in found if one.left)
        slowest = max(one.gone_s for one in found if not one.left) if left < len(found) else GIVEN_S
        print(
            f"{number.name}: {args.times} starts, {with_children} with children when it came; a process left behind "
            f"after {left}, the others gone within {slowest:.2f} s; folders left {folders}",
            flush=True,
        )


if __name__ == "__main__":
    main()
