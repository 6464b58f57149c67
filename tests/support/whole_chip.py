"""A whole emulated RP2040 (rp2040py) that runs an image from its flash, with its USB serial port on a pty.

rp2040py's own loop runs at most one PIO instruction for each instruction of the CPU.  So a state machine that should
run in every cycle falls behind, and its time is wrong.

Here every clock cycle is stepped while a state machine runs.  A CPU instruction takes its cycles, and in each of them
the pin is driven and the PIO runs.  If all state machines are stopped (at the prompt, while files are copied),
rp2040py's loop is right and much faster, and it is used.
"""

import contextlib
import math
import os
import threading
import tty
from pathlib import Path

from rp2040py import RP2040
from rp2040py.device.bootrom import BOOTROM_B1
from rp2040py.device.load_flash import load_uf2
from rp2040py.execute_batch import execute_batch
from rp2040py.gpio_pin import GPIOPinState
from rp2040py.memory_map import FLASH_START_ADDRESS
from rp2040py.simulator import Simulator
from rp2040py.utils.logging import ConsoleLogger, LogLevel
from usb_host import UsbHost

NS_PER_CYCLE = 8  # 125 MHz
# Most cycles that a sleeping CPU is skipped at once, so that a pin that wakes it is noticed soon.  Chosen by hand.
MAX_IDLE_CYCLES = 64
# Bytes that lie unread on the host until it stops reading from the chip.  Linux keeps about as many (from an earlier
# observation, not repeated here).
MOST_UNREAD_BYTES = 4096
CYCLES_BETWEEN_BYTES = 2000  # cycles from one exchange with the serial port to the next; chosen by hand


class SerialBridge:
    """Carries bytes between a chip's USB serial port (a usb_host.UsbHost) and a pty.  It loses none.

    pty: (master, slave) of a pty, or None for a new one.  reading: False while the host reads nothing from the chip.
    """

    def __init__(self, cdc, pty=None):
        self._cdc = cdc
        self._out = bytearray()
        self.reading = True
        cdc.on_serial_data = self._out.extend
        self._master, self._slave = pty or os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.port = os.ttyname(self._slave)

    def carry(self):
        """Carry the bytes that can go now, in both directions.  Never waits."""
        fifo = self._cdc.tx_fifo
        room = fifo.size - fifo.item_count
        # BlockingIOError means: there is nothing to read, or the pty is full because nobody reads.
        with contextlib.suppress(BlockingIOError):
            if room:
                for byte in os.read(self._master, room):
                    self._cdc.send_serial_byte(byte)
        with contextlib.suppress(BlockingIOError):
            while self._out:
                del self._out[: os.write(self._master, self._out)]
        self._cdc.offer()
        reads = self.reading and len(self._out) < MOST_UNREAD_BYTES
        if reads != self._cdc.reads:
            self._cdc.read_on(reads)

    def close(self):
        """Close the pty.  Call this only once.  A program that still has the port open then gets an error."""
        os.close(self._master)
        os.close(self._slave)


class WholeChip:
    """The chip.  Call drive() and then step(); or use it in a `with` statement, and it runs in a thread of its own.

    mcu: an RP2040 with an image in its flash.
    """

    def __init__(self, mcu):
        self.mcu = mcu
        self.cycle = 0  # number of cycles that were stepped one by one
        self._simulator = Simulator(rp2040=mcu)
        self._simulator.stopped = False
        self._host = UsbHost(mcu.usb_ctrl)
        self._bridge = None
        self._pin = None
        self._half = self._next = 0
        self._level = False
        self._pulses = []  # cycles at which the pin changes besides its square wave
        self._skip = 0  # changes of the square wave to leave out
        self._end = threading.Event()
        self._failed = None
        mcu.core.pc = FLASH_START_ADDRESS

    @classmethod
    def of_image(cls, image: Path) -> "WholeChip":
        """Return a chip with this .uf2 file in its flash."""
        mcu = RP2040()
        mcu.logger = ConsoleLogger(LogLevel.ERROR)  # no warning for each register that rp2040py does not have
        mcu.load_bootrom(BOOTROM_B1)
        load_uf2(image, mcu)
        return cls(mcu)

    def drive(self, pin, period):
        """Drive a square wave onto a pin from now on, while cycles are stepped.  period: cycles, an even number."""
        self._pin = self.mcu.gpio[pin]
        self._half = period // 2
        self._next = self.cycle + self._half

    def hold_pin(self, cycles):
        """Let the driven pin stand still for this many cycles, an even multiple of half a period."""
        self._skip += cycles // self._half

    def double_edge(self):
        """Add one short pulse to the driven pin, while it is low."""
        low = self._next if self._level else self._next + self._half
        self._pulses += [low + self._half // 3, low + self._half // 3 * 2]

    def hold_cpu(self, cycles):
        """Let `cycles` pass in which the CPU does nothing, and PIO, DMA and the pin go on."""
        self._pass(cycles)

    def read_on(self, on):
        """Make the host stop reading, or read again."""
        self._bridge.reading = on

    def hold_port(self, open_):
        """Set DTR as a program on the host does that opens or closes the port."""
        self._host.set_control_lines(dtr=open_, rts=open_)

    def now(self):
        """Return the number of cycles that were stepped one by one."""
        return self.cycle

    def connect(self, pty=None):
        """Carry the serial port to a pty from now on.  pty: as in SerialBridge."""
        self._bridge = SerialBridge(self._host, pty)
        self.port = self._bridge.port

    def wire_back(self, pin):
        """Make the chip read the level that it drives on this pin.  rp2040py alone reads only levels from outside."""
        gpio = self.mcu.gpio[pin]
        gpio.add_listener(lambda state, _: gpio.set_input_value(state == GPIOPinState.HIGH))

    def step(self, cycles):
        """Let at least `cycles` cycles pass.  The PIO runs in each of them."""
        core, clock = self.mcu.core, self.mcu.clock
        end = self.cycle + cycles
        while self.cycle < end:
            if core.waiting:
                idle = math.ceil(clock.nanos_to_next_alarm / NS_PER_CYCLE) if clock.has_scheduled_alarm else end
                taken = max(1, min(idle, MAX_IDLE_CYCLES))
            else:
                taken = core.execute_instruction()
            self._pass(taken)

    def _pass(self, cycles):
        """Let `cycles` pass for all but the CPU."""
        clock = self.mcu.clock
        running = [pio for pio in self.mcu.pio if not pio.stopped]
        for _ in range(cycles):
            if self._pin and self.cycle >= self._next:
                self._next += self._half
                if self._skip:
                    self._skip -= 1
                else:
                    self._level = not self._level
                    self._pin.set_input_value(self._level)
            if self._pulses and self.cycle >= self._pulses[0]:
                self._pin.set_input_value(len(self._pulses) % 2 == 0)
                del self._pulses[0]
            for pio in running:
                pio.advance(1)
            self.cycle += 1
            clock.tick(NS_PER_CYCLE)

    def run_some(self):
        """Run a little further, with rp2040py's loop if it is right, else cycle by cycle.  Then carry bytes."""
        if all(pio.stopped for pio in self.mcu.pio):
            execute_batch(self._simulator, 1)
        else:
            self.step(CYCLES_BETWEEN_BYTES)
        if self._bridge:
            self._bridge.carry()

    def __enter__(self):
        self.connect()
        self._thread = threading.Thread(target=self._run)
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._end.set()
        self._thread.join()
        self._bridge = None
        self._end.clear()
        if self._failed:
            raise self._failed

    def _run(self):
        try:
            while not self._end.is_set():
                self.run_some()
        except BaseException as error:
            # The test's own thread raises this error again.
            self._failed = error
        finally:
            self._bridge.close()
