"""Readouts for the tests of the readout and the screen, and a screen rendered at a fixed size."""

import io
from dataclasses import replace

from coilcount.face.screen import draw
from coilcount.live.readout import Readout
from coilcount.model import Alert, ChainFacts, MarkMade, Point, Silence, Thresholds
from rich.console import Console, Group


def point(time_s: float, shift_ppm: float, ready: bool = True, held: bool = False) -> Point:
    frequency_hz = 25_000.0 * (1 + shift_ppm * 1e-6)
    return Point(time_s, frequency_hz, shift_ppm, 0.025 * shift_ppm, 0.1, 25_000.0, 0, ready, False, held)


def alert(stage: str, sign: int, response: str = "uncertain", reasons=(), released_s=None, number: int = 1) -> Alert:
    settled = None if sign == 0 else 10.2
    return Alert(
        stage, number, 10.0, settled, released_s, 9.8, released_s is None, sign, response, tuple(reasons), 12.5,
        8.0 * sign, 0.2 * sign, 0.93 if sign else None, 0.2,
    )  # fmt: skip


def busy(**changes) -> Readout:
    """Half a minute with a gap, a mark, a pass above and one below the line."""
    readout = Readout()
    for k in range(1500):
        time_s = k * 0.02
        if 8 <= time_s < 11:
            continue
        shift = 8.0 if 20 <= time_s < 20.5 else -4.0 if 25 <= time_s < 25.5 else 0.05
        readout.take(point(time_s, shift))
    readout.take(Silence(8.0, 11.0, "unplugged", True))
    readout.take(MarkMade(15.0, "key 1"))
    for number in range(1, 8):
        readout.take(alert("final", 1, "non-ferrous", (), 10.4, number))
    facts = readout.facts
    facts.title, facts.simulated = "scene demo; firmware in MicroPython 1.29.0", True
    facts.host_s, facts.rate_hz, facts.file = 3723.4, 50.0, "walk.ccap"
    readout.chain = ChainFacts(
        records=123_456, rate_hz=50.0, lost=17, damaged=3, dropped=2, temperature_c=21.5, supply_v=5.01, noise_ppm=0.1,
        false_alarms_per_minute=1.0, thresholds=Thresholds(4.0, 4.5), threshold_ppm=Thresholds(1.2, 1.35),
        broad_dips=6,
    )  # fmt: skip
    readout.chain = replace(readout.chain, **changes)
    return readout


def rendered(readout: Readout, columns: int, rows: int, **console) -> list[str]:
    console = Console(width=columns, height=rows, file=io.StringIO(), record=True, **console)
    console.print(Group(*draw(readout, columns, rows)))
    return console.export_text(clear=False).splitlines()


def row(readout: Readout, name: str, columns: int = 80, rows: int = 24) -> str:
    """The line with this label."""
    return next(line for line in rendered(readout, columns, rows) if line.startswith(f" {name} "))
