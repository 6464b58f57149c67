"""Fake of MicroPython's USB serial stream on a chip, and the firmware's loop over it.  Runs under both interpreters.

The fake behaves as was measured on an emulated RP2040 with MicroPython 1.28:

- The buffer holds 256 bytes.  The host takes packets of 64 bytes from it, or all bytes if there are fewer.
- The poll reports room from one free byte on.  A write that needs more room waits until 500 ms pass without progress,
  and the stream layer then calls it a second time.
- If no program has the port open (DTR is low), the poll always reports room, a write never waits, and the oldest bytes
  in the buffer are overwritten.
"""

from app import App
from coilwire import frame, records
from edge_counter import EdgeCounter
from fake_ring import FakeEdges
from link import Link

BUFFER = 256
PACKET = 64
WAIT_MS = 500
PACKETS_A_MS = 12  # that a host takes if it reads; USB full speed allows 19


class FakeUsb:
    """The stream, with the methods of port.Port.

    pass_ms: called for each millisecond that a write waits.  is_open: DTR is high; reads: the host asks for packets;
    received: the bytes that the host got; waited_ms: how long writes waited.
    """

    def __init__(self, pass_ms):
        self.pass_ms = pass_ms
        self.is_open = True
        self.reads = True
        self.received = b""
        self.waited_ms = 0
        self.to_board = b""
        self.buffer = b""
        self.packet = b""  # in the endpoint; it stays there until the host asks for it

    def host_ms(self):
        """Let the host do what it does in a millisecond."""
        if self.is_open and self.reads:
            for _ in range(PACKETS_A_MS):
                self.received += self.packet
                self.packet = b""
                self._flush()

    def writable(self):
        return not self.is_open or len(self.buffer) < BUFFER

    def read(self):
        if not self.to_board:
            return -1
        byte = self.to_board[0]
        self.to_board = self.to_board[1:]
        return byte

    def write(self, buffer, start, count):
        data = bytes(buffer[start : start + count])
        written = self._write(data)
        if written < count:
            written += self._write(data[written:])
        return written

    def _write(self, data):
        done = 0
        while done < len(data):
            part = data[done : done + PACKET]
            if self.is_open:
                left_ms = WAIT_MS
                while left_ms and BUFFER - len(self.buffer) < len(part):
                    self.waited_ms += 1
                    left_ms -= 1
                    self.pass_ms()
                part = part[: BUFFER - len(self.buffer)]
                if not part:
                    break
            self.buffer = (self.buffer + part)[-BUFFER:]
            done += len(part)
            self._flush()
        return done

    def _flush(self):
        if not self.packet:
            self.packet = self.buffer[:PACKET]
            self.buffer = self.buffer[PACKET:]


class Quiet:
    """Fake board and store in one: default settings, sensors that read zero, and a mark button.

    If the flash does not work, put() raises OSError.
    """

    note = ""
    name = "Raspberry Pi Pico"
    uid = "E6614103E7452D2F"
    boot = 3
    crc = 983067036

    def __init__(self):
        self.values = {"interval_ms": 20}
        self.presses = 0

    def put(self, name, value):
        self.values[name] = value

    def marks(self):
        return self.presses

    def temperature_mk(self):
        return 0

    supply_mv = temperature_mk


class Rig:
    """The firmware's loop, a coil of `hertz`, and the fake stream.  A step takes 1 ms; the loop sleeps for 2 ms."""

    def __init__(self, hertz=25_000, piece_bytes=16, left_over=b""):
        self.edges = FakeEdges()
        self.usb = FakeUsb(self.pass_ms)
        self.usb.buffer = left_over
        self.board = Quiet()
        self.hertz = hertz
        self._edges_done = 0
        self.counter = EdgeCounter(self.edges, self.edges)
        self.app = App(self.counter, Link(self.usb, piece_bytes), self.board, self.board, self.edges, "0.1.0")
        self.app.start()

    def pass_ms(self):
        now = self.edges.now_ms = self.edges.now_ms + 1
        while self._edges_done * 1000 < now * self.hertz:
            self.edges.put(self._edges_done * 62_500_000 // self.hertz)
            self._edges_done += 1
        self.usb.host_ms()

    def run(self, ms):
        end = self.edges.now_ms + ms
        while self.edges.now_ms < end:
            more = self.app.step()
            self.pass_ms()
            if not more:
                self.pass_ms()
                self.pass_ms()

    def lines(self):
        """Return (records, damaged): the records that the host received, and the number of its damaged lines."""
        found = []
        damaged = 0
        for line in self.usb.received.split(b"\n")[:-1]:
            wire_frame = frame.parse(line)
            if wire_frame:
                found.append(records.read(wire_frame))
            elif frame.why(line) != "text":
                damaged += 1
        return found, damaged


def intervals(found):
    return [record for record in found if isinstance(record, records.Interval)]


def missing(found):
    """Return how many intervals are missing between the ones in `found`.

    Raises AssertionError if an edge is missing where no interval is, if one came twice, or if a loss is not flagged.
    """
    lost = 0
    before = None
    for interval in intervals(found):
        if before:
            step = (interval.sequence - before.sequence) % records.U16
            assert 1 <= step < 1000
            if step == 1:
                assert interval.first_edge == before.first_edge + before.n
            lost += step - 1
        before = interval
    return lost


def overruns(found):
    return len([record for record in intervals(found) if record.flags & records.FLAG_OVERRUN])


def story():
    """Stalls, a flood of commands, a closed port, and settings.  Returns all that the host received, as text."""
    rig = Rig(left_over=b"x" * 37)
    rig.run(1500)
    rig.usb.reads = False
    rig.run(3000)
    rig.usb.reads = True
    rig.usb.to_board = b"?\n" * 300
    rig.run(1000)
    rig.usb.to_board = records.write(records.Command(9, "set", "interval_ms", 10))
    rig.run(300)
    rig.usb.is_open = False
    rig.run(2000)
    rig.usb.is_open = True
    rig.board.presses = 2
    rig.run(500)
    return rig.usb.received.decode(), rig.usb.waited_ms


def lost_flags_story(fault):
    """The host stops to read, and the ring drops the interval with a flag.  Returns the flags that the host received.

    fault: "overrun", "stall", or "start" (the flag is the one of the first interval).  Without FLAG_NO_AMPLITUDE.
    """
    rig = Rig(left_over=b" " * BUFFER if fault == "start" else b"")
    rig.usb.reads = fault != "start"
    rig.run(300)
    rig.usb.reads = False
    rig.run(200)
    if fault == "overrun":
        for _ in range(400):
            rig.pass_ms()
    rig.edges.stall = fault == "stall"
    rig.run(3500)
    rig.usb.reads = True
    rig.run(400)
    return [interval.flags - records.FLAG_NO_AMPLITUDE for interval in intervals(rig.lines()[0])]
