"""The only loop of the firmware.  It moves records from the counter to the ring and from the ring to the link.

It also answers requests and sends hello and status records at fixed times.  One step() does a little of each task and
never waits.

Memory: each line that is sent allocates its record, its fields and its bytes.  That was 1.7 kB under a 64-bit
MicroPython on a PC, in an earlier measurement that no bench here repeats.  The words of the chip have half the size.
The ring, the clock and a link with nothing to do allocate nothing.
"""

from array import array

import counter as counting
from coilwire import PROTOCOL, records
from ring import Ring
from session import HELP, Session
from store import NAMES, in_range

# Records that the ring holds: 2.5 s of 20 ms intervals, in 5 kB of memory.  Chosen by hand.
RING_SLOTS = 128
# Times in ms, as PROTOCOL.md states them: between two hello records, between two status records, from the last edge
# to the first "stopped" record, and between two of these.
HELLO_EVERY_MS = 10_000
STATUS_EVERY_MS = 1_000
STOPPED_AFTER_MS = 50
STOPPED_EVERY_MS = 1_000
# Answers that may wait for the link, and likewise log lines.  Further ones are dropped.  Chosen by hand.
MAX_WAITING = 8
# Characters of the board's name in a hello; a longer name is cut.  So the longest possible hello fits into a frame.
MAX_BOARD_NAME = 40

# Kinds of record in the ring.
_INTERVAL = 1
_STOPPED = 2
_MARK = 3


class App:
    """The application.

    counter: counter.Counter; link: link.Link; store: store.Store after start_boot(); board: board.Board;
    clock: an object with uptime_ms(), the milliseconds since boot modulo 2^32; version: of the firmware (str).
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
        self._interval_in = array("I", [0] * (1 + counting.SUMS))  # buffer for an interval that goes into the ring
        self._event_in = array("I", [0, 0])  # the same for a "stopped" record or a mark
        self._record_out = [0] * (1 + counting.SUMS)  # buffer for a record that comes out of the ring
        self._sequence = 0
        self._period = 0  # mean period of the last interval in ticks, 0 before the first
        self._marks = 0  # presses of the mark button that are in the ring already
        self._lost = 0  # lines lost by the link that are counted already
        self._hello_due = True
        self._hello_ms = 0
        self._status_due = False
        self._status_ms = 0
        self._stopped_ms = STOPPED_AFTER_MS  # silence in ms at which the next "stopped" record is due
        self._answers = []
        self._logs = []
        self._test_id = None  # id of the command whose self-test runs

    def start(self):
        """Start counting with the settings in force.  A note of the store goes to the host as a log line."""
        if self.store.note:
            self.log(self.store.note)
        self.counter.start(self.store.values["interval_ms"])

    def log(self, text):
        """Send a line of text to the host, for a person to read.  If MAX_WAITING lines wait already, drop it."""
        if len(self._logs) < MAX_WAITING:
            self._logs.append(text)

    def run(self, idle):
        """Call step() for ever.  If there was nothing to do, call idle(), which may wait a little."""
        while True:
            if not self.step():
                idle()

    def step(self):
        """Do one round.  Return True if there was something to do, so that the next round should follow at once."""
        received = self.link.read()
        if received:
            for request in self.session.feed(received):
                self._handle(request)
        if self._test_id is not None:
            self._poll_self_test()
        state = self.counter.poll()
        if state == counting.CLOSED:
            self._push_interval()
        if state != counting.IDLE:
            self._push_stopped()
        self._push_marks()
        self._check_due_times()
        sent = self._send()
        return sent or bool(received) or state != counting.IDLE

    def flush(self):
        """Send waiting records while the link has room.  Return True once all of them are sent."""
        self._send()
        return self.link.idle() and self.ring.count == 0

    # ------------------------------------------------------------ from the counter into the ring

    def _push_interval(self):
        sums = self.counter.sums
        self._interval_in[0] = self._sequence
        for i in range(counting.SUMS):
            self._interval_in[i + 1] = sums[i]
        self._sequence = (self._sequence + 1) & 0xFFFF
        self.ring.push(_INTERVAL, self._interval_in)
        n = sums[counting.N]
        # The mean period p follows from S = p n (n - 1) / 2, which holds for evenly spaced edges.
        self._period = 2 * sums[counting.S] // (n * (n - 1)) if n > 1 else sums[counting.LONGEST]

    def _push_stopped(self):
        silent = self.counter.silent_ms()
        if silent < STOPPED_AFTER_MS:
            self._stopped_ms = STOPPED_AFTER_MS
        elif silent >= self._stopped_ms:
            self._stopped_ms = silent + STOPPED_EVERY_MS
            self._push_event(_STOPPED, silent)

    def _push_marks(self):
        marks = self.board.marks()
        while self._marks != marks:
            self._marks = (self._marks + 1) & 0xFFFFFFFF
            self._push_event(_MARK, self._marks)

    def _push_event(self, kind, value):
        self._event_in[0] = self.clock.uptime_ms()
        self._event_in[1] = value & 0xFFFFFFFF
        self.ring.push(kind, self._event_in)

    # ------------------------------------------------------------ from the ring to the host

    def _check_due_times(self):
        now = self.clock.uptime_ms()
        if ((now - self._status_ms) & 0xFFFFFFFF) >= STATUS_EVERY_MS:
            self._status_ms = now
            self._status_due = True
        if ((now - self._hello_ms) & 0xFFFFFFFF) >= HELLO_EVERY_MS:
            self._hello_ms = now
            self._hello_due = True

    def _send(self):
        """Send while the link has room.  Return True if anything was sent."""
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
        """Return the next record to send, or None.

        Hello and status records are built at send time, so their contents are current.
        """
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
        out = self._record_out
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
            self.board.name[:MAX_BOARD_NAME],
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

    # ------------------------------------------------------------ requests of the host

    def _handle(self, request):
        if request.verb == "selftest":
            reason = self._begin_self_test(request.id)
            if reason:
                self._reply(request.id, 0, reason)
        else:
            ok, text = self._execute(request)
            self._reply(request.id, ok, text)

    def _reply(self, number, ok, text):
        # A host that sends commands and reads no answers must not fill the memory.  It can send its command again.
        if len(self._answers) < MAX_WAITING:
            self._answers.append(records.Answer(number, ok, text))

    def _begin_self_test(self, number):
        """Start the self-test.  Return "" if it runs (it is answered when it ends), else the reason why not."""
        if self._test_id is None:
            reason = self.board.begin_self_test()
            if not reason:
                self._test_id = number
            return reason
        # The host may repeat its command because no answer came yet.  The answer of the running test serves both.
        return "" if number and number == self._test_id else "busy: a self-test runs"

    def _poll_self_test(self):
        result = self.board.self_test()
        if result is not None:
            self._reply(self._test_id, result[0], result[1])
            self._test_id = None

    def _execute(self, request):
        """Carry out a request.  Return (1, text) if it was done, else (0, reason)."""
        if request.verb == "hello" or request.verb == "help":
            self._hello_due = True
            return 1, "hello" if request.verb == "hello" else HELP
        if request.verb == "get":
            names = [request.name] if request.name else NAMES
            return 1, " ".join(["%s=%d" % (name, self.store.values[name]) for name in names])
        if request.verb == "set":
            reason = self._set(request.name, request.value)
            if not reason:
                return 1, "%s=%d" % (request.name, request.value)
            self.session.bad = (self.session.bad + 1) & 0xFFFFFFFF
            return 0, reason
        # The verb is "refuse"; its name is the reason.
        return 0, request.name

    def _set(self, name, value):
        """Put a setting in force and keep it in flash.

        Returns "" if that was done.  Otherwise nothing has changed, and the reason is returned.
        """
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
