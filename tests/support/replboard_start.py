"""Starts the MicroPython that takes the place of a chip in tests of the installer.  replboard.py runs it.

Real: the prompt (raw and raw-paste mode), LittleFS 2 on 4 KiB blocks with its limits, the import from flash, the
installed application and its loop.

Different from a chip: the blocks are in a file of the PC, the counter sees no edge, and machine.reset() ends the
process.  main.py is only looked for, because it needs the chip's PIO.

Argument: the file of the flash.
"""

import os
import sys

import vfs

BLOCK = 4096  # bytes


class Blocks:
    """A block device in a file.  Every write is flushed, so a kill has the effect of a power cut."""

    def __init__(self, file):
        self._file = file
        file.seek(0, 2)
        self.count = file.tell() // BLOCK

    def readblocks(self, block, buffer, offset=0):
        self._file.seek(block * BLOCK + offset)
        self._file.readinto(buffer)

    def writeblocks(self, block, buffer, offset=0):
        self._file.seek(block * BLOCK + offset)
        self._file.write(buffer)
        self._file.flush()

    def ioctl(self, operation, _):
        return {4: self.count, 5: BLOCK, 6: 0}.get(operation)


class Machine:
    """The part of `machine` that the installer uses."""

    @staticmethod
    def reset():
        sys.exit()


def mount():
    blocks = Blocks(open(sys.argv[1], "r+b"))  # noqa: SIM115 (open as long as the board runs)
    try:
        flash = vfs.VfsLfs2(blocks)
    except OSError:
        vfs.VfsLfs2.mkfs(blocks)
        flash = vfs.VfsLfs2(blocks)
    vfs.umount("/")
    vfs.mount(flash, "/")
    os.chdir("/")
    # Only now may the prompt follow.  Before, it could write to files of the PC.
    os.putenv("MICROPYINSPECT", "1")
    sys.stdout.write("\x06")


def start():
    sys.path[:] = ["/", "/lib", ".frozen"]
    from app import App
    from board import Board
    from clock import Clock
    from counter import IDLE, Counter
    from link import Link
    from port import Port
    from store import Store
    from version import VERSION

    class Silent(Counter):
        clock_hz = 125_000_000
        tick_cycles = 2

        def start(self, interval_ms):
            pass

        def poll(self):
            return IDLE

        def silent_ms(self):
            return 0

    class Quiet(Board):
        name = "LittleFS in a file"
        uid = "REPL1"

        def temperature_mk(self):
            return 295_000

        def supply_mv(self):
            return 5000

        def marks(self):
            return 0

    store = Store("")
    store.load()
    store.start_boot()
    app = App(Silent(), Link(Port(sys.stdin.buffer, sys.stdout.buffer)), store, Quiet(), Clock(), VERSION)
    app.start()
    app.run(lambda: None)


sys.modules["machine"] = Machine
mount()
if "main.py" in os.listdir("/"):
    try:
        start()
    except KeyboardInterrupt:
        print("\r\nKeyboardInterrupt:")
