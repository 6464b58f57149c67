"""Prints how busy the firmware's loop keeps the chip, its longest step, and the shortest interval that holds.

    python tests/bench/chip_load.py
    COILCOUNT_UF2=/where/it/is.uf2 python tests/bench/chip_load.py

With an image of MicroPython for the Pico (no package holds one, see DEVELOPERS.md) these are figures of an emulated
RP2040.  The emulation has no flash-cache misses, so a real board is slower.  It takes hours: the emulation is about a
hundred times slower than a chip.

Without an image it prints how long the same loop takes on this PC and what it allocates, and the cycles of a line in
the machine code of the chip (emulated Cortex-M0+).  The first are figures of this PC and say nothing about a chip,
except as a ratio to another version of the firmware on the same PC.
"""

import json
import os
import subprocess
import sys
import time
from array import array
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

import chip_tools
from coilwire import records
from micropython_tool import PROTOCOL, micropython_command
from native_code import Machine, viper_code

chip_tools.provide_micropython()

import counter as counting  # noqa: E402
import line  # noqa: E402
import pins  # noqa: E402

IMAGE = os.environ.get("COILCOUNT_UF2", "")
HERTZ = (10_000, 25_000, 60_000, 100_000, 150_000, 200_000, 250_000)
INTERVAL_MS = 20
CLOCK_HZ = 125_000_000
SUPPORT = Path(__file__).resolve().parents[1] / "support"
SECONDS = 5  # of the coil, on this PC
CHIP_SECONDS = 1.0  # of the coil, on the emulated chip, for each figure
SLOWER = 100  # the emulation, against a chip; all waits of the host are that much longer


def on_this_pc():
    env = dict(os.environ, MICROPYPATH=":".join(map(str, (chip_tools.FIRMWARE, PROTOCOL, SUPPORT))))
    print(f"THIS PC, MicroPython's Unix port, {SECONDS} s of a coil; not a chip")
    print("  kHz  interval ms  steps/s  us for 1 s of the coil  bytes allocated/s")
    for hertz in HERTZ:
        for interval_ms in (5, INTERVAL_MS):
            command = [micropython_command(), SUPPORT / "load_figures.py", str(hertz), str(interval_ms), str(SECONDS)]
            with subprocess.Popen(
                [*map(str, command)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=env
            ) as process:
                steps, spent_us, allocated, _ = json.loads(process.stdout.read())
            print(
                f"{hertz / 1000:5.0f}{interval_ms:13d}{steps:9.0f}{spent_us:24d}{allocated / SECONDS:19.0f}", flush=True
            )


def line_cycles():
    """Return (cycles of the numbers, cycles of the check) of a usual interval line, on an emulated Cortex-M0+."""
    _, put_words, put_check, _, _ = map(Machine, viper_code(chip_tools.FIRMWARE / "in_place.py"))
    values = array("I", [60_017, 88_500_000, 500, 3_121_250_000, 311_875_000, 2499, 2501, 12_345, 128])
    out, out_address = put_words.view(0, 80)
    words, words_address = put_words.view(0x1000, len(values))
    powers, powers_address = put_words.view(0x2000, 10)
    words[:] = memoryview(values)
    powers[:] = memoryview(line._POWERS)
    out.cast("B")[:2] = b"@I"
    size = put_words.call(0, 0, 0, out_address, 2, words_address, 0, len(values), powers_address)
    text = bytes(out.cast("B")[:size])
    out, out_address = put_check.view(0, 80)
    table, table_address = put_check.view(0x2000, 16)
    table[:] = memoryview(line._CRC_STEPS)
    out.cast("B")[:size] = text
    size = put_check.call(0, 0, out_address, size, table_address)
    assert bytes(out.cast("B")[:size]) == records.write(records.Interval(*values))
    return put_words.cycles, put_check.cycles


def print_line_cycles():
    numbers, check = line_cycles()
    us = (numbers + check) / CLOCK_HZ * 1e6
    print("\nEMULATED Cortex-M0+, machine code alone, without the bytecode that calls it and without wait states:")
    print(f"an interval line takes {numbers} cycles for its numbers and {check} for its check, {us:.0f} us at 125 MHz")


def print_rule():
    print("\nRULE of the firmware (counter.keeps_up), shortest interval_ms that is accepted, at 125 MHz:")
    for hertz in HERTZ:
        period = CLOCK_HZ // 2 // hertz
        accepted = [ms for ms in range(5, 101) if counting.why_not(ms, period, CLOCK_HZ, 2) == ""]
        print(f"{hertz / 1000:5.0f} kHz: {min(accepted)} ms")


# ------------------------------------------------------------ with an image


def watched_chip():
    """Return a WholeChip with the image that also measures how long the CPU sleeps."""
    from whole_chip import WholeChip

    class Watched(WholeChip):
        total = asleep = stretch = longest = 0  # cycles; a stretch is without sleep

        def run_some(self):
            begin = self.cycle
            super().run_some()
            taken = self.cycle - begin
            self.total += taken
            if self.mcu.core.waiting:
                self.asleep += taken
                self.stretch = 0
            else:
                self.stretch += taken
                self.longest = max(self.longest, self.stretch)

    return Watched.of_image(Path(IMAGE))


class Board:
    """The firmware on an emulated chip, behind its serial port."""

    def __init__(self, chip, port):
        from coilcount.readings.decode import Decoder

        self.chip = chip
        self.port = port
        self.decoder = Decoder()
        self.number = 0

    def record(self):
        return self.decoder.line(self.port.readline().rstrip(b"\n"))

    def ask(self, verb, name="", value=0):
        """Send a command and return its answer."""
        self.number += 1
        self.port.write(records.write(records.Command(self.number, verb, name, value)))
        while True:
            record = self.record()
            if isinstance(record, records.Answer) and record.id == self.number:
                return record

    def listen(self):
        """Return (busy share, longest stretch without sleep in ms, True if no edge was lost) of CHIP_SECONDS."""
        chip = self.chip
        # Flags of what happened before are in the next records.
        for _ in range(5):
            self.record()
        begin, asleep, chip.longest = chip.total, chip.asleep, 0
        flags = 0
        while chip.total - begin < CHIP_SECONDS * CLOCK_HZ:
            record = self.record()
            if isinstance(record, records.Interval):
                flags |= record.flags
        busy = 1 - (chip.asleep - asleep) / (chip.total - begin)
        return busy, chip.longest / CLOCK_HZ * 1e3, not flags & (records.FLAG_OVERRUN | records.FLAG_STALL)


def on_the_chip():
    import serial
    from coilcount.board import link
    from coilcount.commands.cli import main as coilcount
    from coilcount.deploy import install, prompt

    for module in (link, install, prompt):
        for name in ("HELLO_S", "FOREIGN_S", "SILENT_S", "ASK_AGAIN_S", "INTERRUPT_S", "_ANSWER_S"):
            if hasattr(module, name):
                setattr(module, name, SLOWER * getattr(module, name))
    chip = watched_chip()
    chip.drive(pins.COIL, CLOCK_HZ // 25_000)
    with chip:
        if coilcount(["install", "--port", chip.port, "--quiet"]):
            sys.exit("the firmware could not be installed")
        print(f"EMULATED RP2040 with {Path(IMAGE).name}, intervals of {INTERVAL_MS} ms; no flash-cache misses")
        print("  kHz  busy  longest without sleep, ms  shortest interval_ms that is accepted and holds")
        with serial.Serial(chip.port, timeout=600) as port:
            board = Board(chip, port)
            for hertz in HERTZ:
                chip.drive(pins.COIL, CLOCK_HZ // hertz // 2 * 2)
                board.ask("set", "interval_ms", INTERVAL_MS)
                busy, longest_ms, _ = board.listen()
                shortest = None
                for interval_ms in range(INTERVAL_MS, 4, -1):
                    if not board.ask("set", "interval_ms", interval_ms).ok or not board.listen()[2]:
                        break
                    shortest = interval_ms
                print(f"{hertz / 1000:5.0f}{busy:6.0%}{longest_ms:27.1f}  {shortest}", flush=True)


def main():
    begin = time.monotonic()
    if IMAGE:
        on_the_chip()
    else:
        print(
            "Nothing here is a figure of a whole chip.  For that, COILCOUNT_UF2 must name an image of MicroPython\n"
            "for the Pico (RP2040, a .uf2 file).  No package holds one; DEVELOPERS.md says how to get one.\n"
        )
        on_this_pc()
    print_line_cycles()
    print_rule()
    print(f"\n{time.monotonic() - begin:.0f} s")


if __name__ == "__main__":
    piped.run(main)
