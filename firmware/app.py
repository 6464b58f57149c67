"""The only loop: counter to ring, ring to link, requests to answers, and what is said by the clock.

One step() does a little of each and never waits.  Where memory is taken in the steady loop: the record,
the fields and the bytes of each line that is sent (1.7 kB measured under a 64-bit MicroPython, words of the
chip have half the size).  The ring, the clock and a link with nothing to do take none.
"""

from array import array

import counter as counting
from coilwire import PROTOCOL, records
from ring import Ring
from session import HELP, Session
from store import NAMES, in_range

RING_SLOTS = 128  # 2.5 s of 20 ms intervals, 5 kB
HELLO_EVERY_MS = 10_000
STATUS_EVERY_MS = 1_000
STOPPED_AFTER_MS = 50
STOPPED_EVERY_MS = 1_000
# Lines of one kind that wait for the link, apart from the ring; more are refused or let go.
MOST_WAITING = 8
# Keeps the longest possible hello within a frame.
MOST_BOARD_NAME = 40

# Kinds of record in the ring.
_INTERVAL = 1
_STOPPED = 2
_MARK = 3


class App:
    """counter: counter.Counter; link: link.Link; store: store.Store after start_boot(); board: board.Board;
    clock: uptime_ms() since boot, modulo 2^32; version: the firmware's, as text.
    """

    def __init__(self, counter, link, store, board, clock, version):
        self.counter = counter
        self.link = link
        self.store = store
        self.board = board
        self.clock = clock
        self.version = version
        self.ring = Ring(RING_SLOTS, 1 + counting.SUMS)
        self.session = Session(NAMES)
        self._row = array("I", [0] * (1 + counting.SUMS))  # on its way into the ring
        self._pair = array("I", [0, 0])
        self._out = [0] * (1 + counting.SUMS)  # on its way out of it
        self._sequence = 0
        self._period = 0  # ticks, of the last interval
        self._marks = 0
        self._lost = 0
        self._hello_due = True
        self._hello_ms = 0
        self._status_due = False
        self._status_ms = 0
        self._stopped_ms = STOPPED_AFTER_MS  # silence at which the next such record is due
        self._answers = []
        self._logs = []
        self._test_id = None  # of the command whose self-test runs

    def start(self):
        """Start counting with the settings in force."""
        if self.store.note:
            self.log(self.store.note)
        self.counter.start(self.store.values["interval_ms"])

    def log(self, text):
        """Something for a person on the host to read."""
        if len(self._logs) < MOST_WAITING:
            self._logs.append(text)

    def run(self, idle):
        """Step for ever; idle() is called, and may wait a little, whenever nothing was to do."""
        while True:
            if not self.step():
                idle()

    def step(self):
        """One round.  True where there was something to do, so that the next should follow at once."""
        heard = self.link.read()
        if heard:
            for request in self.session.feed(heard):
                self._answer(request)
        if self._test_id is not None:
            self._self_test()
        state = self.counter.poll()
        if state == counting.CLOSED:
            self._interval()
        if state != counting.IDLE:
            self._stopped()
        self._mark()
        self._by_the_clock()
        sent = self._send()
        return sent or bool(heard) or state != counting.IDLE

    def flush(self):
        """Send what waits, as far as there is room; True once all of it is out."""
        self._send()
        return self.link.idle() and self.ring.count == 0

    # ------------------------------------------------------------ into the ring

    def _interval(self):
        sums = self.counter.sums
        self._row[0] = self._sequence
        for i in range(counting.SUMS):
            self._row[i + 1] = sums[i]
        self._sequence = (self._sequence + 1) & 0xFFFF
        self.ring.push(_INTERVAL, self._row)
        n = sums[counting.N]
        # The mean period, from S = p n (n - 1) / 2 of evenly spaced edges.
        self._period = 2 * sums[counting.S] // (n * (n - 1)) if n > 1 else sums[counting.LONGEST]

    def _stopped(self):
        silent = self.counter.silent_ms()
        if silent < STOPPED_AFTER_MS:
            self._stopped_ms = STOPPED_AFTER_MS
        elif silent >= self._stopped_ms:
            self._stopped_ms = silent + STOPPED_EVERY_MS
            self._note(_STOPPED, silent)

    def _mark(self):
        marks = self.board.marks()
        while self._marks != marks:
            self._marks = (self._marks + 1) & 0xFFFFFFFF
            self._note(_MARK, self._marks)

    def _note(self, kind, value):
        self._pair[0] = self.clock.uptime_ms()
        self._pair[1] = value & 0xFFFFFFFF
        self.ring.push(kind, self._pair)

    # ------------------------------------------------------------ out to the host

    def _by_the_clock(self):
        now = self.clock.uptime_ms()
        if ((now - self._status_ms) & 0xFFFFFFFF) >= STATUS_EVERY_MS:
            self._status_ms = now
            self._status_due = True
        if ((now - self._hello_ms) & 0xFFFFFFFF) >= HELLO_EVERY_MS:
            self._hello_ms = now
            self._hello_due = True

    def _send(self):
        """Send while there is room; True where anything went out."""
        sent = False
        while self.link.ready():
            record = self._next()
            if record is None:
                break
            self.link.send(records.write(record))
            sent = True
        while self._lost != self.link.lost:
            self._lost = (self._lost + 1) & 0xFFFFFFFF
            self.ring.lose()
        return sent

    def _next(self):
        """The next record to send, or None.  Said when it is sent: a hello or a status never grows old."""
        if self._hello_due:
            self._hello_due = False
            return self._hello()
        if self._answers:
            return self._answers.pop(0)
        if self._logs:
            return records.Log(self.clock.uptime_ms(), self._logs.pop(0))
        if self._status_due:
            self._status_due = False
            return self._status()
        out = self._out
        kind = self.ring.pop(out)
        if kind == _INTERVAL:
            if self.ring.gap:
                self.ring.gap = False
                out[1 + counting.FLAGS] |= records.FLAG_AFTER_DROP
            return records.Interval(*out)
        if kind == _STOPPED:
            return records.Stopped(out[0], out[1])
        if kind == _MARK:
            return records.Mark(out[0], out[1])
        return None

    def _hello(self):
        return records.Hello(
            PROTOCOL,
            self.version,
            self.board.name[:MOST_BOARD_NAME],
            self.board.uid,
            self.store.boot,
            self.clock.uptime_ms(),
            self.counter.clock_hz,
            self.counter.tick_cycles,
            self.store.values["interval_ms"],
            self.store.crc(),
            records.LAYOUT,
        )

    def _status(self):
        return records.Status(
            self.clock.uptime_ms(),
            self.board.temperature_mk(),
            self.board.supply_mv(),
            self.ring.high,
            self.ring.dropped,
            self.link.short_writes,
            self.session.bad,
        )

    # ------------------------------------------------------------ what the host asked

    def _answer(self, request):
        if request.verb == "selftest":
            why = self._begin_self_test(request.id)
            if why:
                self._reply(request.id, 0, why)
        else:
            ok, text = self._do(request)
            self._reply(request.id, ok, text)

    def _reply(self, number, ok, text):
        # A host that asks and does not read gets no more answers than this; asking again is harmless.
        if len(self._answers) < MOST_WAITING:
            self._answers.append(records.Answer(number, ok, text))

    def _begin_self_test(self, number):
        """ "" where it runs and is answered when it is over."""
        if self._test_id is None:
            why = self.board.begin_self_test()
            if not why:
                self._test_id = number
            return why
        # Asked again for want of an answer: there will be one.
        return "" if number and number == self._test_id else "busy: a self-test runs"

    def _self_test(self):
        result = self.board.self_test()
        if result is not None:
            self._reply(self._test_id, result[0], result[1])
            self._test_id = None

    def _do(self, request):
        """(1 or 0, text) after doing what was asked."""
        if request.verb == "hello" or request.verb == "help":
            self._hello_due = True
            return 1, "hello" if request.verb == "hello" else HELP
        if request.verb == "get":
            names = [request.name] if request.name else NAMES
            return 1, " ".join(["%s=%d" % (name, self.store.values[name]) for name in names])
        if request.verb == "set":
            why = self._set(request.name, request.value)
            if not why:
                return 1, "%s=%d" % (request.name, request.value)
            self.session.bad = (self.session.bad + 1) & 0xFFFFFFFF
            return 0, why
        return 0, request.name

    def _set(self, name, value):
        """"" where the setting is in force and kept, else why not; then nothing has changed."""
        if not in_range(name, value):
            return "%s cannot be %d" % (name, value)
        if name == "interval_ms" and not counting.fits(
            value, self._period, self.counter.clock_hz, self.counter.tick_cycles
        ):
            known = "for this frequency" if self._period else "before the frequency is known"
            return "interval_ms %d is too long %s: its sums would not fit" % (value, known)
        if self.store.values[name] != value:
            try:
                self.store.put(name, value)
            except OSError:
                return "the flash refuses writes, nothing changed"
            self.counter.set_interval(self.store.values["interval_ms"])
        self._hello_due = True
        return ""
