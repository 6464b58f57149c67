"""`coilcount scenes`: the built-in scenes, each with its title."""

import argparse
import textwrap

from coilcount.errors import EXIT_DONE
from coilcount.face.say import say, say_json

EXAMPLES = (
    ("coilcount scenes", "the names that --scene and simulate take"),
    ("coilcount live --virtual --scene orchard-path", "sweep over one of them"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="one JSON object for each scene")


def run(args: argparse.Namespace) -> int:
    from coilcount.schema.tables import read_file
    from coilcount.simulate.load import SCENE_DIR, built_in_scenes
    from coilcount.simulate.scene import Scene

    scenes = {name: read_file(Scene, SCENE_DIR / f"{name}.toml") for name in built_in_scenes()}
    for name, scene in scenes.items():
        if args.json:
            say_json(
                {
                    "kind": "scene",
                    "name": name,
                    "title": scene.title,
                    "description": scene.description,
                    "duration_s": scene.duration_s,
                    "simulated": True,
                }
            )
        else:
            say(f"{name:<15} {scene.duration_s:.0f} s, {scene.title}", *_indented(scene.description))
    if not args.json:
        say("All are simulated. A scene of your own is a TOML file: give its path.")
    return EXIT_DONE


def _indented(text: str) -> list[str]:
    return textwrap.wrap(text, 80, initial_indent=" " * 16, subsequent_indent=" " * 16)
