"""Mutated TOML files of every kind that the project reads, and what its loaders make of them.

    python tests/toml_mutations.py 5000

Prints how many were accepted and refused and the slowest; nothing but the project's own errors may leave a loader.
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
JUNK = [bytes([one]) for one in b"\x00\x1b\xff\xc3[]\"'=#{},\r"] + [b"\xe2\x80\xa8"]


def kinds() -> list[tuple[str, bytes]]:
    """(kind, content) of sound files: the settings, a plan and every built-in scene."""
    found = [("settings", defaults().to_toml().encode()), ("plan", to_toml(PLAN).encode())]
    found += [("scene", path.read_bytes()) for path in sorted(SCENE_DIR.glob("*.toml"))]
    return [*found, ("scene", b'schema = 1\nduration_s = 20\nplan = "other.toml"\n')]


def mutate(rng: random.Random, data: bytes) -> bytes:
    """`data` with one or two changes of bytes, lines or values."""
    for _ in range(rng.randint(1, 2)):
        lines = data.split(b"\n")
        at = rng.randrange(len(data) + 1)
        row = rng.randrange(len(lines))
        key = lines[row].partition(b"=")[0].strip() or b"x"
        match rng.randrange(9):
            case 0:  # bytes away
                data = data[:at] + data[at + rng.randint(1, 20) :]
            case 1:  # a stretch twice
                data = data[:at] + data[max(0, at - rng.randint(1, 40)) :]
            case 2:  # one byte for another
                data = data[:at] + rng.choice(JUNK) + data[at + 1 :]
            case 3:  # bytes in between
                data = data[:at] + rng.choice(JUNK) * rng.choice((1, 2, 50)) + data[at:]
            case 4:  # nested deeply
                depth = rng.choice((3, 200, 3000))
                lines[row] = key + b" = " + b"[" * depth + b"]" * rng.choice((depth, 0))
                data = b"\n".join(lines)
            case 5:  # a number that is none, or far out
                lines[row] = key + b" = " + rng.choice(NUMBERS).encode()
                data = b"\n".join(lines)
            case 6:  # of another type
                lines[row] = key + b" = " + rng.choice(OTHERS).encode()
                data = b"\n".join(lines)
            case 7:  # a key of many parts
                lines[row] = b".".join([key] * rng.choice((2, 5, 3000))) + b" = 1"
                data = b"\n".join(lines)
            case 8:  # a line twice, or two in the other order
                other = rng.randrange(len(lines))
                lines[row], lines[other] = lines[other], rng.choice((lines[row], lines[other]))
                data = b"\n".join(lines)
    return data


def try_all(folder: Path, count: int, seed: int) -> tuple[Counter, float]:
    """Loads `count` mutated files; returns accepted and refused by kind, and the slowest's seconds.

    Whatever is not a CoilcountError leaves this function as well.
    """
    rng = random.Random(seed)
    sound = kinds()
    readers = {"settings": read_settings, "plan": read_plan, "scene": lambda path: load_scene(str(path))}
    (folder / "other.toml").write_bytes(mutate(rng, sound[1][1]))
    path = folder / "mutated.toml"
    told: Counter = Counter()
    slowest_s = 0.0
    for i in range(count):
        kind, content = sound[i % len(sound)]
        path.write_bytes(mutate(rng, content))
        begin = time.perf_counter()
        try:
            readers[kind](path)
            told[kind, "accepted"] += 1
        except CoilcountError as error:
            line = str(error)
            assert line.isprintable(), line
            assert len(line) < 1000, line
            told[kind, "refused"] += 1
        except BaseException:
            print(f"seed {seed}, file {i}, {kind}: {path.read_bytes()[:2000]!r}", file=sys.stderr)
            raise
        slowest_s = max(slowest_s, time.perf_counter() - begin)
    return told, slowest_s


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        result, slowest = try_all(Path(name), int(sys.argv[1]), seed=2)
    for (kind, what), number in sorted(result.items()):
        print(f"{kind:10} {what:10} {number}")
    print(f"slowest    {slowest:.2f} s")
