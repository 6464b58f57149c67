"""Loads randomly changed TOML files of every kind that the project reads.

    python tests/support/toml_mutations.py 5000

Prints how many files were accepted and refused, and the longest time.  A loader may only raise the project's errors.
"""

import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from coilcount.errors import CoilcountError
from coilcount.schema.plan import OwnTarget, PlanFile, read_plan
from coilcount.schema.tables import to_toml
from coilcount.settings import defaults, read_settings
from coilcount.simulate.load import SCENE_DIR, load_scene

PLAN = PlanFile(
    frequency_hz=25e3,
    target=(
        OwnTarget(object="ball, 9 mm", shape="ball", metal="lead", diameter_mm=9.0),
        OwnTarget(object="can", shape="can", conductivity_s_m=5e6, mu_r=100.0, diameter_mm=66.0, length_mm=115.0,
                  thickness_mm=0.1),
    ),
)  # fmt: skip
NUMBERS = (
    "nan", "inf", "-inf", "9" * 400, "-" + "7" * 5000, "0x" + "f" * 5000, "1e999", "1e308", "-0.0", "0", "5e-324",
    "1", "0.01", "2.5", "40", "399", "1000.0",
)  # fmt: skip
OTHERS = (
    '"text"', "true", "[]", "[[1]]", "{}", "{a = 1}", "2025-05-10", "07:32:00", '""', '"a\\u0000b"', '"\\u001b[2J"',
)  # fmt: skip
JUNK = [bytes([byte]) for byte in b"\x00\x1b\xff\xc3[]\"'=#{},\r"] + [b"\xe2\x80\xa8"]


def kinds() -> list[tuple[str, bytes]]:
    """Return (kind, content) of sound files: the settings, a plan and every built-in scene."""
    found = [("settings", defaults().to_toml().encode()), ("plan", to_toml(PLAN).encode())]
    found += [("scene", path.read_bytes()) for path in sorted(SCENE_DIR.glob("*.toml"))]
    return [*found, ("scene", b'schema = 1\nduration_s = 20\nplan = "other.toml"\n')]


def mutate(rng: random.Random, data: bytes) -> bytes:
    """Return `data` with one or two changes of bytes, lines or values."""
    for _ in range(rng.randint(1, 2)):
        lines = data.split(b"\n")
        place = rng.randrange(len(data) + 1)
        row = rng.randrange(len(lines))
        key = lines[row].partition(b"=")[0].strip() or b"x"
        match rng.randrange(9):
            case 0:  # remove bytes
                data = data[:place] + data[place + rng.randint(1, 20) :]
            case 1:  # repeat some bytes
                data = data[:place] + data[max(0, place - rng.randint(1, 40)) :]
            case 2:  # replace one byte
                data = data[:place] + rng.choice(JUNK) + data[place + 1 :]
            case 3:  # insert bytes
                data = data[:place] + rng.choice(JUNK) * rng.choice((1, 2, 50)) + data[place:]
            case 4:  # nest a value deeply
                depth = rng.choice((3, 200, 3000))
                lines[row] = key + b" = " + b"[" * depth + b"]" * rng.choice((depth, 0))
                data = b"\n".join(lines)
            case 5:  # a bad or extreme number
                lines[row] = key + b" = " + rng.choice(NUMBERS).encode()
                data = b"\n".join(lines)
            case 6:  # a value of another type
                lines[row] = key + b" = " + rng.choice(OTHERS).encode()
                data = b"\n".join(lines)
            case 7:  # a key with many parts
                lines[row] = b".".join([key] * rng.choice((2, 5, 3000))) + b" = 1"
                data = b"\n".join(lines)
            case 8:  # repeat a line, or swap two
                other = rng.randrange(len(lines))
                lines[row], lines[other] = lines[other], rng.choice((lines[row], lines[other]))
                data = b"\n".join(lines)
    return data


def try_all(folder: Path, count: int, seed: int) -> tuple[Counter, float]:
    """Load `count` changed files.  Return the number accepted and refused by kind, and the longest time in s.

    Raises any error of a loader that is not a CoilcountError, and prints the file.
    """
    rng = random.Random(seed)
    sound = kinds()
    readers = {"settings": read_settings, "plan": read_plan, "scene": lambda path: load_scene(str(path))}
    (folder / "other.toml").write_bytes(mutate(rng, sound[1][1]))
    path = folder / "mutated.toml"
    outcomes: Counter = Counter()
    slowest_s = 0.0
    for i in range(count):
        kind, content = sound[i % len(sound)]
        path.write_bytes(mutate(rng, content))
        begin = time.perf_counter()
        try:
            readers[kind](path)
            outcomes[kind, "accepted"] += 1
        except CoilcountError as error:
            line = str(error)
            assert line.isprintable(), line
            assert len(line) < 1000, line
            outcomes[kind, "refused"] += 1
        except BaseException:
            print(f"seed {seed}, file {i}, {kind}: {path.read_bytes()[:2000]!r}", file=sys.stderr)
            raise
        slowest_s = max(slowest_s, time.perf_counter() - begin)
    return outcomes, slowest_s


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        result, slowest = try_all(Path(name), int(sys.argv[1]), seed=2)
    for (kind, what), number in sorted(result.items()):
        print(f"{kind:10} {what:10} {number}")
    print(f"slowest    {slowest:.2f} s")
