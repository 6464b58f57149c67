"""`coilcount simulate`: computes a capture from a scene, and writes its truth as labels beside it."""

import argparse
import sys

from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json

EXAMPLES = (
    ("coilcount simulate orchard-path try.ccap", "a built-in scene; its labels go to try.labels.csv"),
    ("coilcount simulate orchard-path other.ccap --seed 7", "the same objects with other noise"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("scene", metavar="SCENE", help="a built-in scene (coilcount scenes lists them), or a TOML file")
    parser.add_argument("file", metavar="FILE", help="the capture to write (NAME.ccap); its labels go beside it")
    parser.add_argument("--seed", type=int, metavar="N", help="another run of the same scene, with other noise")
    parser.add_argument(
        "--interval-ms", type=int, default=20, metavar="MS", help="the board's counting interval (default 20)"
    )
    parser.add_argument("--json", action="store_true", help="print what was written as one JSON object")
    parser.add_argument("--quiet", action="store_true", help="print nothing")


def run(args: argparse.Namespace) -> int:
    from pathlib import Path

    from coilcount.capture.labels import labels_path
    from coilcount.commands.listen_loop import next_words
    from coilcount.face.times import length
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
            f"{path}: simulated, {length(made['duration_s'])} of scene {name}, seed {made['seed']}, "
            f"{made['lines']} lines; {made['labels_written']} labels in {labels_path(path)}",
            f"next: {next_words([str(path)])}",
        )
    return EXIT_DONE


def _silent(share: float) -> None:
    pass


def _show(share: float) -> None:
    end = "\r" if share < 1 else "\r\033[K"
    sys.stderr.write(f"simulating {share:4.0%}{end}")
    sys.stderr.flush()
