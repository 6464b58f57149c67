"""An emulated RP2040 under firmware/chip_edges.py.

PIO, FIFO, DMA, memory and pins are those of rp2040py.  `rp2`, `machine` and `uctypes` are fakes.  They write the
registers as MicroPython's own modules do (ports/rp2, from memory).

There is no CPU: CPython runs the firmware's file.  Time passes only in run(), one clock cycle at a time, and in skip().
"""

import sys
import types

import chip_tools
from rp2040py import RP2040

chip_tools.provide_micropython()

CLOCK_HZ = 125_000_000
NS_PER_CYCLE = 8
PIO0, PIO_SIZE = 0x50200000, 0x100000
DMA = 0x50000000
IO_BANK0, PADS_BANK0 = 0x40014000, 0x4001C000
SIO_FUNCTION, PWM_FUNCTION = 5, 4
PWM, SLICE_SIZE = 0x40050000, 0x14
PWM_CSR, PWM_DIV, PWM_CC, PWM_TOP = 0x00, 0x04, 0x0C, 0x10
RAM = 0x20000000
ROOM = RAM + 0x1004  # address of the first "bytearray", on purpose not aligned
CTRL, TXF0, RXF0, INSTR_MEM = 0x000, 0x010, 0x020, 0x048
CLKDIV, EXECCTRL, SHIFTCTRL, INSTR = 0x0C8, 0x0CC, 0x0D0, 0x0D8
AL1_CTRL, READ, WRITE, COUNT = 0x10, 0x00, 0x04, 0x08
DMA_BUSY = 1 << 24
MULTI_CHAN_TRIGGER, CHAN_ABORT = 0x430, 0x444


class Chip:
    """One chip, with a pin that run() drives."""

    def __init__(self):
        self.mcu = RP2040()
        # With no simulator set, rp2040py would run the PIO by itself, in batches.
        self.mcu.simulator = object()
        self.pio = self.mcu.pio[0]
        self.cycle = 0
        self.dma_stopped = False
        self.claimed = set()
        self.programs = {0: [], 1: []}  # by block
        self._rooms = ROOM

    def write(self, address, value):
        self.mcu.write_uint32(address, value & chip_tools.U32)

    def read(self, address):
        return self.mcu.read_uint32(address)

    def drive(self, pin, level):
        self.mcu.gpio[pin].set_input_value(bool(level))

    def run(self, cycles, pin=None, changes=()):
        """Let `cycles` pass.  changes: (cycle, level) of `pin` in order, counted from the start of the chip."""
        advance = self.pio.advance
        other = self.mcu.pio[1]
        tick = self.mcu.clock.tick
        changes = iter(changes)
        next_cycle, level = next(changes, (None, None))
        for cycle in range(self.cycle, self.cycle + cycles):
            while next_cycle is not None and next_cycle <= cycle:
                self.drive(pin, level)
                next_cycle, level = next(changes, (None, None))
            advance(1)
            if not other.stopped:
                other.advance(1)
            if not self.dma_stopped:
                tick(NS_PER_CYCLE)
        self.cycle += cycles

    def skip(self, cycles):
        """Let `cycles` pass at once while the pin keeps its level.  X falls by one for every two cycles."""
        machine = self.pio.machines[0]
        machine.x = (machine.x - cycles // 2) & chip_tools.U32
        self.cycle += cycles // 2 * 2

    def address(self, buffer):
        """Return an address in the chip's memory for a buffer of this length."""
        address, self._rooms = self._rooms, self._rooms + len(buffer) + 4
        return address

    def modules(self):
        """Return the fake modules by name, for sys.modules."""
        chip = self

        class Pin:
            IN = 0

            def __init__(self, number, mode=None):
                self.number = number
                if mode == self.IN:
                    self.function(SIO_FUNCTION)

            def function(self, select):
                # As gpio_set_function().  The pad has its input enabled, a Schmitt trigger and no pull.
                chip.write(IO_BANK0 + 8 * self.number + 4, select)
                chip.write(PADS_BANK0 + 4 + 4 * self.number, 0x52)

        class SquareWave:
            """Fake machine.PWM for a frequency that divides the clock."""

            def __init__(self, pin):
                self._pin = pin
                self._slice = PWM + SLICE_SIZE * (pin.number // 2 % 8)
                pin.function(PWM_FUNCTION)
                # A real pin reads the level that the chip drives.  In rp2040py an input sees only levels from outside.
                chip.mcu.gpio[pin.number].add_listener(lambda state, _: chip.drive(pin.number, state == 1))

            def freq(self, hertz):
                chip.write(self._slice + PWM_DIV, 1 << 4)
                chip.write(self._slice + PWM_TOP, CLOCK_HZ // hertz - 1)

            def duty_u16(self, duty):
                level = (chip.read(self._slice + PWM_TOP) + 1) * duty >> 16
                chip.write(self._slice + PWM_CC, level << 16 | level)
                chip.write(self._slice + PWM_CSR, 1)

            def deinit(self):
                chip.write(self._slice + PWM_CSR, 0)

        class Memory:
            def __getitem__(self, address):
                return chip.read(address)

            def __setitem__(self, address, value):
                chip.write(address, value)

        class StateMachine:
            def __init__(self, number, program, jmp_pin):
                block, number = divmod(number, 4)
                programs = chip.programs[block]
                if programs and program not in programs:
                    raise OSError("no room for the program")
                programs[:] = [program]
                self.number = number
                self._base = base = PIO0 + PIO_SIZE * block
                offset = 0x18 * number
                for k, opcode in enumerate(program.opcodes):
                    chip.write(base + INSTR_MEM + 4 * k, opcode)
                self.active(0)
                chip.write(base + CLKDIV + offset, 1 << 16)
                chip.write(
                    base + EXECCTRL + offset, jmp_pin.number << 24 | program.wrap << 12 | program.wrap_target << 7
                )
                options = program.options
                chip.write(base + SHIFTCTRL + offset, options["autopush"] << 16 | (options["push_thresh"] & 31) << 20)
                # As pio_sm_init(): empty the FIFOs, restart, jump to the program.
                while chip.read(base + 0x004) >> 8 & 1 << number == 0:
                    chip.read(base + RXF0 + 4 * number)
                chip.write(base + CTRL, 1 << 4 + number)
                chip.write(base + INSTR + offset, 0)

            def active(self, on):
                chip.write(self._base + CTRL, 1 << self.number if on else 0)

            def put(self, value):
                chip.write(self._base + TXF0 + 4 * self.number, value)

        class Block:
            def __init__(self, number):
                self._programs = chip.programs[number]

            def remove_program(self, program):
                if program not in self._programs:
                    raise ValueError("prog not in memory")
                self._programs.remove(program)

        class Channel:
            def __init__(self):
                free = [n for n in range(12) if n not in chip.claimed]
                if not free:
                    raise OSError("no free DMA channel")
                self.channel = free[0]
                chip.claimed.add(self.channel)
                self._base = DMA + 0x40 * self.channel

            def pack_ctrl(
                self, *, enable, size, inc_read, inc_write, ring_size, ring_sel, treq_sel, chain_to, irq_quiet
            ):
                return (
                    enable | size << 2 | inc_read << 4 | inc_write << 5 | ring_size << 6 | ring_sel << 10
                    | chain_to << 11 | treq_sel << 15 | irq_quiet << 21
                )  # fmt: skip

            def config(self, *, read, write, count, ctrl, trigger):
                chip.write(self._base + READ, read)
                chip.write(self._base + WRITE, write)
                chip.write(self._base + COUNT, count)
                chip.write(self._base + AL1_CTRL, ctrl)
                if trigger:
                    self.active(1)

            def active(self, on=None):
                if on is None:
                    return bool(chip.read(self._base + AL1_CTRL) & DMA_BUSY)
                chip.write(DMA + (MULTI_CHAN_TRIGGER if on else CHAN_ABORT), 1 << self.channel)

            def close(self):
                chip.claimed.remove(self.channel)

            @property
            def count(self):
                return chip.read(self._base + COUNT)

        def asm_pio(**options):
            return lambda function: chip_tools.Program(function, options)

        return {
            "rp2": _module("rp2", asm_pio=asm_pio, StateMachine=StateMachine, PIO=Block, DMA=Channel),
            "machine": _module("machine", Pin=Pin, PWM=SquareWave, mem32=Memory(), freq=lambda: CLOCK_HZ),
            "uctypes": _module(
                "uctypes",
                addressof=self.address,
                bytearray_at=lambda address, size: chip.mcu.sram[address - RAM : address - RAM + size],
            ),
        }


def _module(name, **content):
    module = types.ModuleType(name)
    module.__dict__.update(content)
    return module


def edges_on(chip, monkeypatch, *args, channel_words=None, **given):
    """Return chip_edges.ChipEdges(*args, **given) of the firmware, freshly imported over `chip`.

    channel_words: a shorter CHANNEL_WORDS, or None for the firmware's own.
    """
    for name, module in chip.modules().items():
        monkeypatch.setitem(sys.modules, name, module)
    monkeypatch.delitem(sys.modules, "chip_edges", raising=False)
    import chip_edges

    # The next import must be a fresh one too.
    monkeypatch.delitem(sys.modules, "chip_edges")
    if channel_words:
        monkeypatch.setattr(chip_edges, "CHANNEL_WORDS", channel_words)
    edges = chip_edges.ChipEdges(*args, **given)
    edges.moved_modulo = chip_edges.CHANNEL_WORDS
    return edges
