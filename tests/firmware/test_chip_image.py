"""The firmware on a whole emulated chip, installed and read as on a board; and tests of the emulation itself.

The first test needs an image of MicroPython for the Pico.  No package contains one.  COILCOUNT_UF2 names its file, and
DEVELOPERS.md says how to get one.  THE FIRST TEST HAS NEVER BEEN RUN, because its authors had no image.  The other
tests need no image and have been run.
"""

import os
import struct
import threading
from itertools import pairwise
from pathlib import Path

import chip_tools
import pytest
import serial
from coilcount.board import link
from coilcount.commands.cli import main
from coilcount.deploy import install
from coilcount.deploy import prompt as repl
from coilcount.readings.decode import Decoder
from coilwire import records
from emulated_chip import (
    CLOCK_HZ,
    IO_BANK0,
    PWM,
    PWM_CC,
    PWM_CSR,
    PWM_DIV,
    PWM_FUNCTION,
    PWM_TOP,
    RAM,
    SLICE_SIZE,
    Chip,
    edges_on,
)
from rp2040py.execute_batch import execute_batch
from rp2040py.memory_map import FLASH_START_ADDRESS
from rp2040py.utils.fifo import FIFO
from whole_chip import SerialBridge, WholeChip

chip_tools.provide_micropython()

import counter as counting  # noqa: E402
import pins  # noqa: E402
from edge_counter import EdgeCounter  # noqa: E402

IMAGE = os.environ.get("COILCOUNT_UF2", "")
PERIOD = 5004  # cycles: 24,980.02 Hz
MS = CLOCK_HZ // 1000  # cycles
# Thumb, from the ARMv6-M manual's encodings (from memory).
SPIN = [0xE7FE]  # b .
SLEEP = [0xBF30, 0xE7FD]  # wfi; b back
WATCHDOG_CTRL, TRIGGER = 0x40058000, 1 << 31  # RP2040 datasheet, from memory


@pytest.mark.skipif(not IMAGE, reason="COILCOUNT_UF2 names no image of MicroPython for the Pico")
def test_the_firmware_installed_on_a_whole_chip_counts_a_driven_pin_exactly(monkeypatch, capsys):
    """MicroPython and the firmware run on the emulated CPU, PIO, DMA, PWM and USB; `install` uses the serial port.

    This test has never been run: see the top of the file.
    """
    # The emulation is about a hundred times slower than a chip.
    waits = [(install, "HELLO_S"), (repl, "INTERRUPT_S"), (repl, "_ANSWER_S")]
    waits += [(link, name) for name in ("HELLO_S", "FOREIGN_S", "SILENT_S")]
    for module, name in waits:
        monkeypatch.setattr(module, name, 100 * getattr(module, name))
    chip = WholeChip.of_image(Path(IMAGE))
    chip.drive(pins.COIL, PERIOD)
    chip.wire_back(pins.SELF_TEST)
    with chip:
        assert main(["install", "--port", chip.port, "--quiet"]) == 0, capsys.readouterr().err
        decoder = Decoder()
        intervals = []
        with serial.Serial(chip.port, timeout=600) as port:
            port.readline()  # may be the end of a line
            while len(intervals) < 8:
                record = decoder.line(port.readline().rstrip(b"\n"))
                if isinstance(record, records.Interval):
                    intervals.append(record)
            # Now the self-test.  More intervals come before its answer.
            port.write(records.write(records.Command(7, "selftest", "", 0)))
            while not isinstance(record, records.Answer) or record.id != 7:
                record = decoder.line(port.readline().rstrip(b"\n"))
                if isinstance(record, records.Interval):
                    intervals.append(record)
    assert (record.ok, record.text) == (1, "sent=4000 counted=4000")
    assert decoder.damaged == 0
    for before, after in pairwise(intervals):
        assert after.sequence == before.sequence + 1
        assert after.first_edge == before.first_edge + before.n
        # A tick is two cycles and the period is even, so nothing is rounded.
        assert 2 * ((after.t_first - before.t_first) % records.U32) == before.n * PERIOD
        assert after.shortest == after.longest == PERIOD // 2
        assert after.s == PERIOD // 2 * after.n * (after.n - 1) // 2
        assert not after.flags & ~records.FLAG_NO_AMPLITUDE
    first, last = intervals[0], intervals[-1]
    cycles = 2 * ((last.t_first - first.t_first) % records.U32)
    assert CLOCK_HZ * (last.first_edge - first.first_edge) / cycles == pytest.approx(CLOCK_HZ / PERIOD, rel=1e-14)


def program(mcu, words):
    for k, word in enumerate(words):
        struct.pack_into("<H", mcu.flash, 2 * k, word)


@pytest.mark.parametrize("words", [SPIN, SLEEP], ids=["a busy CPU", "a sleeping CPU"])
@pytest.mark.parametrize(("pin", "machine"), [(pins.COIL, 0), (pins.SELF_TEST, 4)], ids=["driven pin", "own PWM"])
def test_stepped_cycle_by_cycle_the_counts_are_exact_beside_a_cpu_that_runs(words, pin, machine, monkeypatch):
    """The test writes the registers, as in emulated_chip, while the CPU runs a loop of its own."""
    chip = Chip()
    program(chip.mcu, words)
    whole = WholeChip(chip.mcu)

    class Clock:
        uptime_ms = staticmethod(lambda: whole.cycle // MS)

    # The first PIO block counts a signal from outside, and the second one the chip's own PWM.
    counter = EdgeCounter(edges_on(chip, monkeypatch, pin, machine), Clock)
    counter.start(1)
    if machine:
        whole.wire_back(pin)
        chip.write(IO_BANK0 + 8 * pin + 4, PWM_FUNCTION)
        pwm_slice = PWM + SLICE_SIZE * (pin // 2)
        for register, value in ((PWM_DIV, 1 << 4), (PWM_TOP, PERIOD - 1), (PWM_CC, PERIOD // 2), (PWM_CSR, 1)):
            chip.write(pwm_slice + register, value)
    else:
        whole.drive(pin, PERIOD)
    intervals = []
    while len(intervals) < 4:
        whole.step(MS)
        if counter.poll() == counting.CLOSED:
            intervals.append(list(counter.sums))
    counter.stop()
    for before, after in pairwise(intervals):
        assert after[counting.FIRST_EDGE] == before[counting.FIRST_EDGE] + before[counting.N]
        assert 2 * (after[counting.T_FIRST] - before[counting.T_FIRST]) == before[counting.N] * PERIOD
        assert after[counting.SHORTEST] == after[counting.LONGEST] == PERIOD // 2
    assert chip.mcu.core.pc in range(FLASH_START_ADDRESS, FLASH_START_ADDRESS + 2 * len(words) + 2)


def test_rp2040py_s_own_loop_runs_a_state_machine_too_slowly(monkeypatch):
    """This is why cycles are stepped here: in that loop an instruction of two cycles gives a state machine one step."""
    chip = Chip()
    program(chip.mcu, SPIN)
    whole = WholeChip(chip.mcu)
    edges = edges_on(chip, monkeypatch, pins.COIL)
    edges.start()
    machine = chip.mcu.pio[0].machines[0]

    def ticks_in(run):
        x, nanos = machine.x, chip.mcu.clock.nanos
        run()
        return ((x - machine.x) & chip_tools.U32) / ((chip.mcu.clock.nanos - nanos) / 16)

    whole.step(1000)  # past the hold-off of the start
    assert ticks_in(lambda: whole.step(20_000)) == pytest.approx(1, abs=0.001)
    assert ticks_in(lambda: execute_batch(whole._simulator, 1)) < 0.6
    edges.stop()


def uf2(path, data):
    """Write `data` as a UF2 file (specification from memory): blocks of header, 256 bytes, padding, last word."""
    count = -(-len(data) // 256)
    with open(path, "wb") as file:
        for k in range(count):
            piece = data[256 * k : 256 * k + 256].ljust(256, b"\0")
            address = FLASH_START_ADDRESS + 256 * k
            head = struct.pack("<8I", 0x0A324655, 0x9E5D5157, 0x2000, address, 256, k, count, 0xE48BFF56)
            file.write(head + piece + bytes(220) + struct.pack("<I", 0x0AB16F30))


# Adds one to the first word of RAM, then resets the chip by the watchdog, as machine.reset() does.
COUNT_STARTS = struct.pack(
    "<8H4I",
    0x4803, 0x6801, 0x3101, 0x6001,  # ldr r0, RAM; ldr r1, [r0]; adds r1, 1; str r1, [r0]
    0x4A02, 0x4B03, 0x6013, 0xE7FE,  # ldr r2, WATCHDOG_CTRL; ldr r3, TRIGGER; str r3, [r2]; b .
    RAM, WATCHDOG_CTRL, TRIGGER, 0,
)  # fmt: skip


def test_an_image_is_loaded_and_a_chip_that_resets_itself_starts_again(tmp_path):
    uf2(tmp_path / "count.uf2", COUNT_STARTS)
    whole = WholeChip.of_image(tmp_path / "count.uf2")
    whole.step(200)
    assert whole.mcu.read_uint32(RAM) > 3
    before = whole.mcu.read_uint32(RAM)
    whole.run_some()
    assert whole.mcu.read_uint32(RAM) > before


class Echo:
    """Fake of rp2040py's USBCDC and of the firmware behind it.  answer() sends back the bytes that it received."""

    def __init__(self):
        self.tx_fifo = FIFO(512)
        self.on_serial_data = None

    def send_serial_byte(self, byte):
        assert not self.tx_fifo.full, "a byte would be lost"
        self.tx_fifo.push(byte)

    def answer(self):
        received = bytes(self.tx_fifo.pull() for _ in range(min(64, self.tx_fifo.item_count)))
        if received:
            self.on_serial_data(received)


def test_the_bridge_carries_every_byte_both_ways_through_full_buffers():
    cdc = Echo()
    bridge = SerialBridge(cdc)
    sent = bytes(range(256)) * 80  # more than the FIFO and a pty hold
    received = bytearray()
    with serial.Serial(bridge.port, timeout=0) as port:
        writer = threading.Thread(target=port.write, args=(sent,))
        writer.start()
        for _ in range(100_000):
            bridge.carry()
            cdc.answer()
            # At first the host does not read, until all is written.
            if not writer.is_alive() or len(received):
                received += port.read(4096)
            if len(received) == len(sent):
                break
        writer.join()
    bridge.close()
    assert bytes(received) == sent


def test_a_chip_in_its_own_thread_ends_on_request_and_passes_on_its_error(tmp_path):
    uf2(tmp_path / "count.uf2", COUNT_STARTS)
    whole = WholeChip.of_image(tmp_path / "count.uf2")
    with whole, serial.Serial(whole.port):
        pass
    assert not whole._thread.is_alive()
    broken = WholeChip.of_image(tmp_path / "count.uf2")
    broken.run_some = lambda: 1 / 0
    with pytest.raises(ZeroDivisionError), broken:
        pass
