"""virtual: the virtual board as a port that other programs can open, until Ctrl-C."""

import argparse
import sys
from typing import TYPE_CHECKING

from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json

if TYPE_CHECKING:
    from coilcount.virtual.board import VirtualBoard

DEFAULT_SCENE = "demo"
_LOOK_S = 0.2


def add_arguments(parser: argparse.ArgumentParser) -> None:
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--pty", action="store_true", help="as a serial port on this machine (the default)")
    way.add_argument("--tcp", type=int, metavar="PORT", help="as a TCP port on 127.0.0.1; 0 takes a free one")
    parser.add_argument("--scene", default=DEFAULT_SCENE, help="a TOML file or a built-in scene (%(default)s)")
    parser.add_argument("--seed", type=int, help="another run of the same scene")
    parser.add_argument("--pace", type=float, default=1.0, help="1 is real time, 10 ten times as fast (default 1)")
    parser.add_argument("--json", action="store_true", help="say the port as JSON")


def make_board(
    scene: str = DEFAULT_SCENE, seed: int | None = None, pace: float = 1.0, seconds: float | None = None
) -> "VirtualBoard":
    """A virtual board, not yet started, over the physics of `scene` (a built-in name or a TOML file).

    seconds: how long the scene goes on; inf: until stopped; None: its own duration.
    """
    from coilcount.deploy.firmware_files import firmware_folder
    from coilcount.virtual.board import VirtualBoard

    if not 0 <= pace < float("inf"):
        raise InputError(f"--pace is {pace:g}", remedy="Give 1 for real time, 10 for ten times as fast")
    feed = [sys.executable, "-m", "coilcount.simulate.feed", "--scene", scene, "--pace", repr(pace)]
    if seed is not None:
        if seed < 0:
            raise InputError(f"--seed is {seed}", remedy="Give 0 or more")
        feed += ["--seed", str(seed)]
    if seconds is not None:
        feed += ["--for", repr(seconds)]
    return VirtualBoard(firmware_folder(), feed)


def run(args: argparse.Namespace) -> int:
    """Serve the board until Ctrl-C (exit 0); raises what ends it before."""
    from coilcount.face.signals import interrupting
    from coilcount.simulate.load import load_scene

    load_scene(args.scene)  # what is wrong with it is told before a port is
    try:
        # However it is ended, the board's processes and its folder go with it.
        with interrupting(), make_board(args.scene, args.seed, args.pace, float("inf")) as board:
            if args.tcp is None:
                _say(board, board.port, args.json)
                while not board.wait(_LOOK_S):
                    pass
            else:
                from coilcount.virtual.tcp import Relay

                with Relay(board.port, args.tcp) as relay:
                    _say(board, relay.url, args.json)
                    while not board.ended:
                        relay.step(_LOOK_S)
            board.check()
    except KeyboardInterrupt:
        pass
    return EXIT_DONE


def _say(board: "VirtualBoard", port: str, as_json: bool) -> None:
    if as_json:
        say_json({"port": port, "interpreter": board.interpreter_name, "simulated": True})
        return
    say(
        port,
        f"A simulated board, its firmware in {board.interpreter_name}. Open it with `coilcount live --port {port}`, "
        "any serial terminal or pyserial; type ? there. Ctrl-C ends it.",
    )
