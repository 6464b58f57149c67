"""Tools with which the firmware's chip files run under CPython.

They are an assembler for functions of rp2.asm_pio, and a `micropython` module without a compiler.

Encodings: RP2040 data sheet, "PIO Instruction Set", from memory.  test_silicon_program compares them with those of
another assembler.
"""

import builtins
import sys
import types
from array import array
from pathlib import Path

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
U32 = 0xFFFFFFFF

_CONDITIONS = {"x_dec": 2, "y_dec": 4, "pin": 6}
_PLACES = {"x": 1, "y": 2, "osr": 7}


class Program:
    """An assembled program.

    opcodes: list of int, with jumps relative to 0; wrap_target, wrap: addresses; options: those passed to asm_pio.
    """

    def __init__(self, function, options):
        self.options = options
        self.opcodes = []
        labels = {}
        for self._labels in ({}, labels):  # the second pass has the labels of the first
            self.opcodes.clear()
            names = {
                "pull": lambda block: self._emit(0x8080 | block << 5),
                "block": 1,
                "label": lambda name: labels.__setitem__(name, len(self.opcodes)),
                "in_": lambda source, bits: self._emit(0x4000 | _PLACES[source] << 5 | bits & 31),
                "mov": lambda to, source: self._emit(0xA000 | _PLACES[to] << 5 | _PLACES[source]),
                "jmp": lambda condition, to: self._emit(_CONDITIONS[condition] << 5 | self._labels.get(to, 0)),
                "wrap_target": lambda: setattr(self, "wrap_target", len(self.opcodes)),
                "wrap": lambda: setattr(self, "wrap", len(self.opcodes) - 1),
                **{name: name for name in (*_CONDITIONS, *_PLACES)},
            }
            # As with rp2.asm_pio, the function sees only the assembler's names.
            types.FunctionType(function.__code__, names)()

    def _emit(self, opcode):
        self.opcodes.append(opcode)


class Pointer:
    """Fake of viper's ptr32 to a buffer: a load is unsigned, as on a PC, and a store keeps 32 bits."""

    def __init__(self, buffer):
        self._words = memoryview(buffer).cast("B").cast("I")

    def __getitem__(self, index):
        return self._words[index]

    def __setitem__(self, index, value):
        self._words[index] = value & U32


class BytePointer:
    """Fake of viper's ptr8 to a buffer."""

    def __init__(self, buffer):
        self._bytes = memoryview(buffer).cast("B")

    def __getitem__(self, index):
        return self._bytes[index]

    def __setitem__(self, index, value):
        self._bytes[index] = value & 0xFF


def provide_micropython():
    """Provide `micropython`, with decorators that do nothing, and viper's pointers.  Put the firmware on the path."""
    if "micropython" not in sys.modules:
        module = types.ModuleType("micropython")
        module.viper = lambda function: function
        module.const = lambda value: value
        sys.modules["micropython"] = module
        builtins.ptr32 = Pointer
        builtins.ptr8 = BytePointer
    if str(FIRMWARE) not in sys.path:
        sys.path.insert(0, str(FIRMWARE))


def words_of(times, hold_off, overhead, first=0, x0=0):
    """Return the words (array) that the timestamper pushes for edges at `times` (ticks).

    hold_off, overhead: as in pio_program; first: number of the first word; x0: X at the start.
    """
    missed = hold_off + overhead
    return array("I", [((first + k) * missed - t + x0) & U32 for k, t in enumerate(times)])
