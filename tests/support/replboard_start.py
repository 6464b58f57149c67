"""Start of the MicroPython that stands for a chip in tests of the installer: run by replboard.py.

Real: the prompt (raw and raw-paste mode), LittleFS 2 on 4 KiB blocks with its limits, the import from flash, the
installed application and its loop.  Not the chip's: the blocks lie in a file of the PC, the counter sees no edge,
machine.reset() ends the process, and main.py is only looked for (it needs the chip's PIO).

Argument: the file of the flash.
"""

import os
import sys

import vfs

BLOCK = 4096


class Blocks:
    """A block device in a file, written through, so that a kill is a power cut."""

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
    """All that the installer asks of `machine`."""

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
    # Only now may a prompt follow: one with the PC's own files under it could be told to write there.
    os.putenv("MICROPYINSPECT", "1")
    sys.stdout.write("\x06")


def start():
    sys.path[:] = ["/", "/lib", ".frozen"]
    from app import App
    from board import Board
    from clock import Clock
    from counter import IDLE, Counter
    from link import Link
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
    app = App(Silent(), Link(sys.stdin.buffer, sys.stdout.buffer), store, Quiet(), Clock(), VERSION)
    app.start()
    app.run(lambda: None)


sys.modules["machine"] = Machine
mount()
if "main.py" in os.listdir("/"):
    try:
        start()
    except KeyboardInterrupt:
        print("\r\nKeyboardInterrupt:")
