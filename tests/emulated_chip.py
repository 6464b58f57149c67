"""An RP2040 under firmware/chip_edges.py: fakes of `rp2`, `machine` and `uctypes` that write the registers of rp2040py.

The fakes do what MicroPython's own modules do with these calls (ports/rp2, from memory); PIO, FIFO, DMA, memory and
the pin are rp2040py's.  There is no CPU: CPython runs the firmware's file, and time passes in run() alone,
one clock cycle at a time.
"""

import sys
import types

import chip_tools
from rp2040py import RP2040

chip_tools.provide_micropython()

CLOCK_HZ = 125_000_000
NS_PER_CYCLE = 8
PIO0 = 0x50200000
DMA = 0x50000000
IO_BANK0, PADS_BANK0 = 0x40014000, 0x4001C000
RAM = 0x20000000
ROOM = RAM + 0x1004  # where "bytearray" was put: not aligned
CTRL, TXF0, RXF0, INSTR_MEM = 0x000, 0x010, 0x020, 0x048
CLKDIV, EXECCTRL, SHIFTCTRL, INSTR = 0x0C8, 0x0CC, 0x0D0, 0x0D8
AL1_CTRL, READ, WRITE, COUNT = 0x10, 0x00, 0x04, 0x08
DMA_BUSY = 1 << 24
MULTI_CHAN_TRIGGER, CHAN_ABORT = 0x430, 0x444


class Chip:
    """One chip with a pin that run() drives."""

    def __init__(self):
        self.mcu = RP2040()
        # Without an owner rp2040py would run the PIO by itself, in batches.
        self.mcu.simulator = object()
        self.pio = self.mcu.pio[0]
        self.cycle = 0
        self.dma_stopped = False
        self.claimed = set()
        self.programs = []

    def write(self, address, value):
        self.mcu.write_uint32(address, value & chip_tools.U32)

    def read(self, address):
        return self.mcu.read_uint32(address)

    def drive(self, pin, level):
        self.mcu.gpio[pin].set_input_value(bool(level))

    def run(self, cycles, pin=None, changes=()):
        """Let `cycles` pass; changes: (cycle, level) in order, cycles counted from the chip's first."""
        advance = self.pio.advance
        tick = self.mcu.clock.tick
        changes = iter(changes)
        at, level = next(changes, (None, None))
        for cycle in range(self.cycle, self.cycle + cycles):
            while at is not None and at <= cycle:
                self.drive(pin, level)
                at, level = next(changes, (None, None))
            advance(1)
            if not self.dma_stopped:
                tick(NS_PER_CYCLE)
        self.cycle += cycles

    def skip(self, cycles):
        """Let `cycles` pass at once while the pin keeps its level: X falls by the turns of two that it would make."""
        machine = self.pio.machines[0]
        machine.x = (machine.x - cycles // 2) & chip_tools.U32
        self.cycle += cycles // 2 * 2

    def modules(self):
        """Fake modules by name, for sys.modules."""
        chip = self

        class Pin:
            IN = 0

            def __init__(self, number, mode):
                self.number = number
                # gpio_set_function(SIO), and the pad: input enabled, Schmitt trigger, no pull.
                chip.write(IO_BANK0 + 8 * number + 4, 5)
                chip.write(PADS_BANK0 + 4 + 4 * number, 0x52)

        class Memory:
            def __getitem__(self, address):
                return chip.read(address)

            def __setitem__(self, address, value):
                chip.write(address, value)

        class StateMachine:
            def __init__(self, number, program, jmp_pin):
                if len(chip.programs) and program not in chip.programs:
                    raise OSError("no room for the program")
                chip.programs = [program]
                self.number = number
                offset = 0x18 * number
                for k, opcode in enumerate(program.opcodes):
                    chip.write(PIO0 + INSTR_MEM + 4 * k, opcode)
                self.active(0)
                chip.write(PIO0 + CLKDIV + offset, 1 << 16)
                chip.write(
                    PIO0 + EXECCTRL + offset, jmp_pin.number << 24 | program.wrap << 12 | program.wrap_target << 7
                )
                options = program.options
                chip.write(PIO0 + SHIFTCTRL + offset, options["autopush"] << 16 | (options["push_thresh"] & 31) << 20)
                # pio_sm_init: empty the FIFOs, restart, jump to the program.
                while chip.pio.read_uint32(0x004) >> 8 & 1 << number == 0:
                    chip.read(PIO0 + RXF0 + 4 * number)
                chip.write(PIO0 + CTRL, 1 << 4 + number)
                chip.write(PIO0 + INSTR + offset, 0)

            def active(self, on):
                chip.write(PIO0 + CTRL, 1 << self.number if on else 0)

            def put(self, value):
                chip.write(PIO0 + TXF0 + 4 * self.number, value)

        class Block:
            def __init__(self, number):
                pass

            def remove_program(self, program):
                if program not in chip.programs:
                    raise ValueError("prog not in memory")
                chip.programs.remove(program)

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
            "machine": _module("machine", Pin=Pin, mem32=Memory(), freq=lambda: CLOCK_HZ),
            "uctypes": _module(
                "uctypes",
                addressof=lambda buffer: ROOM,
                bytearray_at=lambda address, size: chip.mcu.sram[address - RAM : address - RAM + size],
            ),
        }


def _module(name, **content):
    module = types.ModuleType(name)
    module.__dict__.update(content)
    return module


def edges_on(chip, monkeypatch, pin, **constants):
    """chip_edges.ChipEdges of the firmware, freshly imported over `chip`, with some of its constants replaced."""
    for name, module in chip.modules().items():
        monkeypatch.setitem(sys.modules, name, module)
    monkeypatch.delitem(sys.modules, "chip_edges", raising=False)
    import chip_edges

    # The next import must be fresh too.
    monkeypatch.delitem(sys.modules, "chip_edges")
    for name, value in constants.items():
        monkeypatch.setattr(chip_edges, name, value)
    edges = chip_edges.ChipEdges(pin)
    edges.ring_words = chip_edges.RING_WORDS
    edges.moved_modulo = chip_edges.CHANNEL_WORDS
    return edges
