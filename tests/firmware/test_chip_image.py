"""Tests of the emulation of a whole chip, as far as they need no image of MicroPython.

The scenarios that need one are in test_chip_scenarios.py.
"""

import struct
import threading
from itertools import pairwise

import chip_tools
import pytest
import serial
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
from forked_chip import ForkedChip
from rp2040py.execute_batch import execute_batch
from rp2040py.memory_map import FLASH_START_ADDRESS
from rp2040py.utils.fifo import FIFO
from usb_host import UsbHost
from whole_chip import SerialBridge, WholeChip

chip_tools.provide_micropython()

import counter as counting  # noqa: E402
import pins  # noqa: E402
from edge_counter import EdgeCounter  # noqa: E402

PERIOD = 5004  # cycles: 24,980.02 Hz
MS = CLOCK_HZ // 1000  # cycles
# Thumb, from the ARMv6-M manual's encodings (from memory).
SPIN = [0xE7FE]  # b .
SLEEP = [0xBF30, 0xE7FD]  # wfi; b back
WATCHDOG_CTRL, TRIGGER = 0x40058000, 1 << 31  # RP2040 datasheet, from memory


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
    """Fake of usb_host.UsbHost and of the firmware behind it.  answer() sends back the bytes that it received."""

    def __init__(self):
        self.tx_fifo = FIFO(512)
        self.on_serial_data = None
        self.reads = True
        self.offers = 0

    def offer(self):
        self.offers += 1

    def read_on(self, on):
        self.reads = on

    def send_serial_byte(self, byte):
        assert not self.tx_fifo.full, "a byte would be lost"
        self.tx_fifo.push(byte)

    def answer(self):
        if not self.reads:
            return
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


class Wires:
    """Fake of the chip's USB controller: it notes what the host does, and has no delays."""

    def __init__(self):
        self.done = []  # (endpoint, bytes) of OUT transfers that the host answered
        self.ready = []  # endpoints of IN transfers that the host took
        self.rp2040 = None

    def endpoint_read_done(self, endpoint, data):
        self.done.append((endpoint, bytes(data)))

    def _indicate_buffer_ready(self, endpoint, out):
        self.ready.append((endpoint, out))


@pytest.fixture
def usb():
    wires = Wires()
    host = UsbHost(wires)
    host._in_endpoint, host._out_endpoint = 2, 3
    return wires, host


def test_the_host_holds_an_out_transfer_until_there_are_bytes(usb):
    wires, host = usb
    wires.on_endpoint_read(3, 64)
    host.offer()
    assert wires.done == []
    for byte in b"ab":
        host.send_serial_byte(byte)
    host.offer()
    host.offer()
    assert wires.done == [(3, b"ab")]
    host.send_serial_byte(99)
    wires.on_endpoint_read(3, 64)
    assert wires.done[1:] == [(3, b"c")]


def test_the_host_forgets_a_transfer_at_a_reset(usb):
    wires, host = usb
    wires.on_endpoint_read(3, 64)
    host.read_on(False)
    wires._indicate_buffer_ready(2, False)
    wires.on_reset()
    host._in_endpoint, host._out_endpoint = 2, 3
    host.send_serial_byte(1)
    host.offer()
    host.read_on(True)
    assert wires.done == [] and wires.ready == []


def test_a_host_that_stops_reading_leaves_transfers_unfinished_and_loses_nothing(usb):
    wires, host = usb
    received = []
    host.on_serial_data = received.append
    wires.on_endpoint_write(2, b"one")
    wires._indicate_buffer_ready(2, False)
    host.read_on(False)
    wires.on_endpoint_write(2, b"two")
    wires._indicate_buffer_ready(2, False)
    wires._indicate_buffer_ready(3, True)
    assert (received, wires.ready) == ([b"one"], [(2, False), (3, True)])
    host.read_on(True)
    assert (received, wires.ready) == ([b"one", b"two"], [(2, False), (3, True), (2, False)])


def test_copies_of_a_chip_run_on_their_own_and_leave_the_chip_as_it_was(tmp_path):
    uf2(tmp_path / "count.uf2", COUNT_STARTS)
    whole = WholeChip.of_image(tmp_path / "count.uf2")
    whole.step(200)
    before = whole.mcu.read_uint32(RAM), whole.cycle
    with ForkedChip(whole) as one, ForkedChip(whole) as other:
        one.order("drive", pins.COIL, PERIOD)
        one.order("hold_cpu", 3000)
        other.order("hold_cpu", 1000)
        assert (one.order("now"), other.order("now")) == (before[1] + 3000, before[1] + 1000)
        with serial.Serial(one.port, timeout=0) as port:
            port.write(b"nobody reads this")
    assert (whole.mcu.read_uint32(RAM), whole.cycle) == before
    # An error in the copy's process is an error of the test.
    with pytest.raises(AssertionError, match="ended with 1"), ForkedChip(whole) as broken:
        broken.order("no_such_method")


@pytest.mark.parametrize(("fault", "lost"), [("hold_pin", 1), ("double_edge", -1)])
def test_the_driven_pin_misses_or_doubles_one_edge(fault, lost):
    chip = Chip()
    program(chip.mcu, SPIN)
    whole = WholeChip(chip.mcu)
    rises = []
    set_level = chip.mcu.gpio[pins.COIL].set_input_value

    class Pin:
        level = False

        def set_input_value(self, level):
            if level and not self.level:
                rises.append(whole.cycle)
            self.level = level
            set_level(level)

    whole.drive(pins.COIL, 1000)
    whole._pin = Pin()
    whole._pass(5200)
    getattr(whole, fault)(*[1000] * (lost > 0))
    whole._pass(5000)
    assert len(rises) == 10 - lost
    assert {rise % 500 for rise in rises if rise not in rises[5:7]} == {0}
