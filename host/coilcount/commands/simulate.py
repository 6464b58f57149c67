"""simulate SCENE FILE: a capture from the physics, and its truth as labels beside it."""

import argparse
import sys

from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scene", metavar="SCENE", help="a TOML file, or a built-in scene")
    parser.add_argument("file", metavar="FILE", help="the capture to write (NAME.ccap); its labels go beside it")
    parser.add_argument("--seed", type=int, help="another run of the same scene")
    parser.add_argument("--interval-ms", type=int, default=20, help="the board's counting interval (default 20)")
    parser.add_argument("--json", action="store_true", help="say what was written as JSON")
    parser.add_argument("--quiet", action="store_true", help="say nothing")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from coilcount.capture.labels import labels_path
    from coilcount.simulate.load import load_scene
    from coilcount.simulate.make import write_simulation

    if args.seed is not None and args.seed < 0:
        raise InputError(f"--seed is {args.seed}", remedy="Give 0 or more")
    scene = load_scene(args.scene)
    path = Path(args.file)
    name = Path(args.scene).stem
    quiet = args.quiet or args.json or not sys.stderr.isatty()
    made = write_simulation(scene, name, path, args.seed, args.interval_ms, _silent if quiet else _show)
    if args.json:
        say_json({"capture": str(path), "labels": str(labels_path(path)), "simulated": True, **made})
    elif not args.quiet:
        say(
            f"{path}: simulated, {made['duration_s']:g} s of scene {name}, seed {made['seed']}, {made['lines']} lines; "
            f"{made['labels_written']} labels in {labels_path(path)}"
        )
    return EXIT_DONE


def _silent(share: float) -> None:
    pass


def _show(share: float) -> None:
    end = "\r" if share < 1 else "\r\033[K"
    sys.stderr.write(f"simulating {share:4.0%}{end}")
    sys.stderr.flush()
