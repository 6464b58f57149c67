"""The application with a self-test beside a coil, both over fake rings.  Runs under CPython and MicroPython."""

from app import App
from coilwire import frame, records
from edge_counter import EdgeCounter
from fake_ring import FakeEdges
from self_test import SelfTest


class Lines:
    """Fake link: it returns the bytes in `received`, always has room, and keeps the records that were sent."""

    lost = short_writes = 0

    def __init__(self):
        self.received = b""
        self.sent = []

    def read(self):
        if not self.received:
            return -1
        byte = self.received[0]
        self.received = self.received[1:]
        return byte

    def ready(self):
        return True

    idle = ready

    def send(self, buffer, size):
        self.sent.append(records.read(frame.parse(bytes(buffer[: size - 1]))))


class FakeBoard:
    """Fake board, store and wave in one: default settings, and a self-test over a ring that the test fills."""

    note = name = uid = ""
    boot = 1
    crc = 0

    def __init__(self, clock):
        self.values = {"interval_ms": 20}
        self.edges = FakeEdges()
        self.running = False
        self.test = SelfTest(EdgeCounter(self.edges, clock), self, clock)
        self.begin_self_test = self.test.start
        self.self_test = self.test.poll

    def start(self, hertz):
        assert hertz == 20_000
        self.running = True

    def stop(self):
        self.running = False

    def temperature_mk(self):
        return 0

    supply_mv = marks = temperature_mk


def story():
    """Run the application for 1 s with several self-test commands.

    Returns (answers, intervals, running): answers as (time in ms, id, ok, text), the coil's intervals as tuples, and
    True if the wave still runs.
    """
    coil = FakeEdges()
    lines = Lines()
    board = FakeBoard(coil)
    app = App(EdgeCounter(coil, coil), lines, board, board, coil, "0")
    app.start()

    def framed(number):
        return records.write(records.Command(number, "selftest", "", 0))

    commands = {
        100: framed(7),
        150: framed(7),  # repeated, because no answer came yet
        200: framed(8) + b"selftest\r\n",  # another command, and a typed one, while the test runs
        500: b"selftest\r",
        # At this time no DMA channel is free.
        900: framed(9),
    }
    answers = []
    for ms in range(1, 1000):
        coil.now_ms = ms
        lines.received = commands.get(ms, b"")
        if ms == 900:

            def refuse():
                raise OSError("no free DMA channel")

            board.edges.start = refuse
        for k in range(25):
            coil.put(ms * 62_500 + k * 2500)
        if board.running:
            for k in range(20):
                board.edges.put(ms * 62_500 + k * 3125)
        before = len(lines.sent)
        while app.step():
            pass
        for record in lines.sent[before:]:
            if isinstance(record, records.Answer):
                answers.append((ms, record.id, record.ok, record.text))
    intervals = [tuple(record) for record in lines.sent if isinstance(record, records.Interval)]
    return answers, intervals, board.running
