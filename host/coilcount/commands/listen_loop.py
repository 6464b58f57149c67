"""The run of `live` and `record`: joins link, capture, chain and views, and closes all of them in order."""

import argparse
import contextlib
import dataclasses
import os
import shlex
import sys
import textwrap
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from coilcount.commands.coil_memory import memory_of
from coilcount.commands.common_options import with_level
from coilcount.commands.listening import Source, check_source, make_header, open_source
from coilcount.errors import EXIT_DONE, EXIT_NO, InputError
from coilcount.face.say import say
from coilcount.face.signals import handled, interrupting

STEP_S = 0.1  # s, the longest wait for bytes: keys and Ctrl-C are looked at as often.  Chosen by hand
_COLUMNS = 80
AUTOMATIC_NAME = ""  # in place of a file name: one made of date and time


def listen(args: argparse.Namespace, command: str, screen: bool, scene_repeats: bool) -> int:
    """Run until the time is over, the scene ends, `q` or Ctrl-C; returns the exit code.

    command: "live" or "record"; screen: draw one if the output is a terminal; scene_repeats: as of open_source().
    """
    from coilcount.settings import load_settings

    check_source(args)
    settings = with_level(load_settings(args.settings), args)
    if args.file == AUTOMATIC_NAME:
        args.file = automatic_name(datetime.now())
    file = args.file
    if file is not None and Path(file).exists():
        raise InputError("the file exists", file, "Nothing is ever overwritten: give another name")
    # Until the capture is open a signal interrupts (exit 130), but in order, so that no process stays behind.
    with interrupting(), open_source(args, scene_repeats) as source:
        return _run(args, command, source, settings, screen and _draws())


def automatic_name(now: datetime) -> str:
    """A free file name in the working folder, of the local date and time: coilcount-2026-05-01-183012.ccap."""
    stem = f"coilcount-{now:%Y-%m-%d-%H%M%S}"
    name, number = f"{stem}.ccap", 1
    while os.path.lexists(name):
        number += 1
        name = f"{stem}-{number}.ccap"
    return name


def _run(args: argparse.Namespace, command: str, source: Source, settings, screen: bool) -> int:
    from coilcount.chain import Chain
    from coilcount.commands.kept import Kept
    from coilcount.face import streams
    from coilcount.face.keys import Keyboard
    from coilcount.face.plain import summary_line
    from coilcount.face.sound import Speaker
    from coilcount.live.boundary import Boundary
    from coilcount.live.readout import Readout
    from coilcount.live.session import NOTICE_STAYS_S, Session

    file = args.file
    screen = screen and not (args.json or args.quiet)
    readout = Readout()
    facts = readout.facts
    facts.title, facts.simulated, facts.file = source.title, source.simulated, file or ""
    facts.theme = "bright" if settings.live["bright"] else "standard"
    facts.sound_on = args.sound or settings.live["speaker"]
    facts.noise_profile = bool(settings.tracker["noise_ppm_rthz"])
    warnings: list[str] = []

    def warn(text: str) -> None:
        warnings.append(text)
        facts.warning = text
        if not screen:
            streams.warn_if_possible(f"warning: {text}")

    chain = Chain(settings, points=True)
    kept = Kept(lambda: chain.thresholds)
    header = make_header(args, source, settings)
    memory = memory_of(args, source, header, warn)
    header = dataclasses.replace(header, learned=memory.start(args.fresh))
    boundary = Boundary(lambda: file is not None, warn, source.clock)
    summary = None
    with contextlib.ExitStack() as stack:
        # The capture is opened first: a view that fails costs no data.
        writer = _writer(file, header, settings, warn)
        if writer is not None:
            stack.enter_context(writer)  # an exception before the session closes it leaves the end "aborted"
        showing = contextlib.ExitStack()
        session = Session(
            link=source.link,
            chain=chain,
            readout=readout,
            views=[
                *boundary.call("the output", _views, args, command, settings, readout, showing, screen, otherwise=()),
                showing.enter_context(Speaker(readout, warn)),
            ],
            clock=source.clock,
            header=header,
            writer=writer,
            keep=kept.append if screen else None,
            keys=showing.enter_context(Keyboard()).pressed,
            ended=source.ended,
            for_s=args.seconds,
            boundary=boundary,
        )
        stack.enter_context(handled(lambda *_: session.stop()))
        start = memory.start_words(chain.kept_used)
        if start:
            session.say(start, NOTICE_STAYS_S)
            if not (screen or args.json or args.quiet):
                boundary.call("the output", say, f"{command}: {start}")
        status = "aborted"
        try:
            while session.step(STEP_S):
                source.check()
            status = "closed"
        finally:
            try:
                summary = session.close(status)
            finally:
                # The capture is closed by now: nothing that happens here can endanger it.
                if not boundary.failed("the tracking"):
                    boundary.call("keeping what was learned", memory.keep, chain)
                boundary.call("the screen", showing.close)

    def print_end() -> None:
        if screen:
            from coilcount.face.tables import print_table

            # The terminal has taken the screen away; the table of its alerts stays.
            print_table(kept.outputs, sys.stdout, kept.left_out, kept.threshold_of())
        if summary and not (args.json or args.quiet):
            say(*textwrap.wrap(f"summary: {summary_line(summary)}", _COLUMNS, subsequent_indent="  "))
            there = [] if writer is None else [str(path) for path in writer.parts if path not in writer.missing]
            if there:
                say(f"recorded: {', '.join(there)}")
            say(f"next: {next_words(there)}")
        sys.stdout.flush()

    if not boundary.gone("the output"):
        boundary.call("the output", print_end)
    if screen:
        for text in warnings:
            streams.warn_if_possible(f"warning: {text}")
    if boundary.gone("the output"):
        streams.silence_output()
    # The writer has warned of the files that are missing.
    return EXIT_NO if boundary.failures or (writer is not None and writer.missing) else EXIT_DONE


def next_words(files: Sequence[str]) -> str:
    """The command to run after this one, as it is typed into a shell; files: the parts of the recording."""
    if not files:
        return "coilcount live --record keeps the next sweep"
    # A name that begins with a dash would be taken for an option.
    return "coilcount replay " + " ".join(shlex.quote(f"./{name}" if name[0] == "-" else name) for name in files)


def _draws() -> bool:
    return sys.stdout.isatty() and os.environ.get("TERM") not in ("dumb", "unknown")


def _writer(file: str | None, header, settings, warn):
    if file is None:
        return None
    from coilcount.capture.background_writer import BackgroundWriter

    capture = settings.capture
    return BackgroundWriter(
        file,
        header,
        rotate_bytes=round(capture["rotate_mb"] * 1e6),
        rotate_s=60 * capture["rotate_minutes"],
        min_free_bytes=round(capture["warn_free_mb"] * 1e6),
        on_warning=warn,
    )


def _views(
    args: argparse.Namespace, command: str, settings, readout, stack: contextlib.ExitStack, screen: bool
) -> list:
    from coilcount.face.plain import JsonLines, PlainLines
    from coilcount.live.readout import noise_words

    if screen:
        from rich.console import Console

        from coilcount.face.screen import Screen
        from coilcount.face.sound import Bell

        views = [stack.enter_context(Screen(readout, Console(highlight=False), settings.live["redraw_hz"]))]
        return [*views, Bell(sys.stdout)] if settings.live["sound"] else views
    if args.json:
        return [JsonLines(sys.stdout, args.file or ""), PlainLines(readout, sys.stderr, quiet=True)]
    if args.quiet:
        return [PlainLines(readout, sys.stderr, quiet=True)]
    simulated = "SIMULATED, " if readout.facts.simulated else ""
    say(f"{command}: {simulated}{readout.facts.title}")
    if args.file is not None:
        say(f"{command}: recording to {args.file}")
    end = "" if args.seconds is None else f"; it ends by itself after {args.seconds:g} s"
    say(f"{command}: Ctrl-C stops{' and closes the capture' if args.file is not None else ''}{end}")
    say(f"{command}: {noise_words(readout.facts.noise_profile)}")
    return [PlainLines(readout, sys.stdout)]
