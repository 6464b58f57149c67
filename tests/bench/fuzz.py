"""Large numbers of random inputs: valid records through a session, and mutated captures through `replay` and `inspect`.

It prints counts.  It also prints each exception that is not one of the project's own, with its seed.

    python tests/bench/fuzz.py                      a million records and 10,000 captures, about 20 minutes
    python tests/bench/fuzz.py --records 30000 --captures 300
"""

import argparse
import contextlib
import io
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from coilcount.capture.reader import read_capture
from coilcount.commands.cli import main as coilcount
from coilcount.model import Line
from fuzz_input import record_nonsense, replay_all, write_mutated

RECORDS_AT_ONCE = 10_000


def records(folder: Path, count: int) -> None:
    """Send `count` valid records with random contents through a session."""
    failures: list[str] = []
    missing = done = 0
    for seed in range(max(1, count // RECORDS_AT_ONCE)):
        size = min(count, RECORDS_AT_ONCE)
        path = folder / "records.ccap"
        given, failed = record_nonsense(path, seed, size)
        kept = [entry for entry in read_capture(path) if type(entry) is Line]
        missing += kept != given
        done += len(given)
        failures += [f"seed {seed}: {sentence}" for sentence in failed]
        path.unlink()
    print(f"{done} valid records through a session: {len(failures)} failures, {missing} captures with missing bytes")
    print(*failures[:20], sep="\n")


def captures(folder: Path, count: int) -> None:
    """Replay and inspect `count` mutated captures."""
    found: Counter[str] = Counter()
    exits: Counter[int] = Counter()
    for seed in range(count):
        path = write_mutated(random.Random(seed), folder / "mutated.ccap")
        try:
            replay_all(path)
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                exits[coilcount(["inspect", str(path)])] += 1
        except Exception as error:
            frame = traceback.extract_tb(error.__traceback__)[-1]
            what = f"{type(error).__name__} in {Path(frame.filename).name}:{frame.lineno}"
            if not found[what]:
                print(f"seed {seed}: {what}: {error}")
            found[what] += 1
    print(f"{count} mutated captures through replay and inspect: {found.total()} unexpected exceptions")
    print(f"exit codes of inspect: {dict(exits)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=1_000_000)
    parser.add_argument("--captures", type=int, default=10_000)
    args = parser.parse_args()
    begin = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        if args.records:
            records(Path(name), args.records)
        if args.captures:
            captures(Path(name), args.captures)
    print(f"{time.monotonic() - begin:.0f} s")


if __name__ == "__main__":
    piped.run(main)
