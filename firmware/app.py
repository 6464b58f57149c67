"""The only loop of the firmware.  It moves records from the counter to the ring and from the ring to the link.

It also answers requests and sends hello and status records at fixed times.  One step() does a little of each task and
never waits: it reads at most one command and sends at most MAX_LINES lines, so that the counter is soon polled again.

Memory: while no command comes, a step allocates nothing.  A garbage collection would stop everything for 10 to 20 ms
(emulation).  Only a command and its answer allocate, and a log line.
"""

from array import array

import counter as counting
from coilwire import PROTOCOL, frame, records
from line import Line, copy_words, set_word
from ring import Ring
from session import HELP, Session
from store import NAMES, in_range

# Records that the ring holds: 2.5 s of 20 ms intervals, in 5 kB of memory.  Chosen by hand.
RING_SLOTS = 128
# Answers that may wait for the link, and likewise log lines.  Further ones are dropped.  Chosen by hand.
MAX_WAITING = 8
# Characters of the board's name in a hello; a longer name is cut.  So the longest possible hello fits into a frame.
MAX_BOARD_NAME = 40
# Most bytes read, and most lines sent, in one step.  Each costs about 0.1 ms a byte and 0.6 ms a line on a chip
# (estimate, tests/bench/chip_load.py).  Chosen by hand, so that a step stays below 8 ms.
MAX_BYTES = 24
MAX_LINES = 2

# Kinds of record in the ring.  For each: the letter on the wire, and the number of fields.
_INTERVAL = 1
_STOPPED = 2
_MARK = 3
_KINDS = (b"", b"I", b"X", b"M")
_FIELDS = [len(records.FIELDS[kind.decode()]) if kind else 0 for kind in _KINDS]
_WIDTH = 1 + counting.SUMS  # fields of an interval: its sequence number and the sums


class App:
    """The application.

    counter: counter.Counter; link: link.Link; store: store.Store after start_boot(); board: board.Board;
    clock: an object with uptime_ms(), the milliseconds since boot modulo 2^30; version: of the firmware (str).
    """

    def __init__(self, counter, link, store, board, clock, version):
        self.counter = counter
        self.link = link
        self.store = store
        self.board = board
        self.clock = clock
        self.ring = Ring(RING_SLOTS, _WIDTH, _INTERVAL, 1 + counting.FLAGS)
        self.session = Session(NAMES)
        self._line = Line()
        self._interval_in = array("I", [0] * _WIDTH)  # buffer for an interval that goes into the ring
        self._event_in = array("I", [0, 0])  # the same for a "stopped" record or a mark
        self._words = array("I", [0] * 8)  # number fields of a line that is formatted
        self._version = frame.escape(version)
        self._name = frame.escape(board.name[:MAX_BOARD_NAME])
        self._uid = frame.escape(board.uid)
        self._layout = frame.escape(records.LAYOUT)
        self._line_flags = 0  # flags of the last line that are carried over if it is lost
        self._sequence = 0
        self._now = 0  # ms, the time of this step
        self._turns = 0  # how often the clock has passed 2^30 ms
        self._marks = 0  # presses of the mark button that are in the ring already
        self._lost = 0  # lines lost by the link that are counted already
        self._hello_due = True
        self._hello_ms = 0
        self._status_due = False
        self._status_ms = 0
        self._stopped_ms = records.STOPPED_AFTER_MS  # silence in ms at which the next "stopped" record is due
        self._answers = []  # tuples (id, ok, escaped text)
        self._logs = []  # escaped texts
        self._test_id = None  # id of the command whose self-test runs

    def start(self):
        """Start counting with the settings in force.  A note of the store goes to the host as a log line."""
        if self.store.note:
            self.log(self.store.note)
        self.counter.start(self.store.values["interval_ms"])

    def log(self, text):
        """Send a line of text to the host, for a person to read.  If MAX_WAITING lines wait already, drop it."""
        if len(self._logs) < MAX_WAITING:
            self._logs.append(frame.escape(text))

    def run(self, idle, feed=None):
        """Call step() for ever.

        idle: called if there was nothing to do; it may wait a little; feed: called before every step, or None.
        """
        while True:
            if feed:
                feed()
            if not self.step():
                idle()

    def step(self):
        """Do one round.  Return True if more is to be done, so that the next round should follow at once."""
        received = self._read()
        if self._test_id is not None:
            self._poll_self_test()
        state = self.counter.poll()
        now = self.clock.uptime_ms() & counting.MS_MASK
        if now < self._now:
            self._turns += 1
        self._now = now
        if state == counting.CLOSED:
            self._push_interval()
        if state != counting.IDLE:
            self._push_stopped()
        self._push_marks()
        self._check_due_times()
        sent = self._waiting() and self._send() and self._waiting()
        return sent or received or self.counter.behind

    def flush(self):
        """Send waiting records while the link has room.  Return True once all of them are sent."""
        self._send()
        return not self._waiting()

    # ------------------------------------------------------------ from the counter into the ring

    def _push_interval(self):
        self._interval_in[0] = self._sequence
        copy_words(self._interval_in, 1, self.counter.sums, 0, counting.SUMS)
        self._sequence = (self._sequence + 1) & records.MASK16
        self.ring.push(_INTERVAL, self._interval_in)

    def _push_stopped(self):
        silent = self.counter.silent_ms()
        if silent < records.STOPPED_AFTER_MS:
            self._stopped_ms = records.STOPPED_AFTER_MS
        elif silent >= self._stopped_ms:
            self._stopped_ms = silent + records.STOPPED_EVERY_MS
            self._push_event(_STOPPED, silent)

    def _push_marks(self):
        marks = self.board.marks()
        while self._marks != marks:
            self._marks += 1
            self._push_event(_MARK, self._marks)

    def _push_event(self, kind, value):
        set_word(self._event_in, 0, self._now, self._turns)
        set_word(self._event_in, 1, value, 0)
        self.ring.push(kind, self._event_in)

    # ------------------------------------------------------------ from the ring to the host

    def _check_due_times(self):
        if ((self._now - self._status_ms) & counting.MS_MASK) < records.STATUS_EVERY_MS:
            return
        self._status_ms = self._now
        self._status_due = True
        # A hello is due together with a status, so most steps need only the look above.
        if ((self._now - self._hello_ms) & counting.MS_MASK) >= records.HELLO_EVERY_MS:
            self._hello_ms = self._now
            self._hello_due = True

    def _waiting(self):
        """Return True if anything waits to be sent."""
        if self.ring.count or self._hello_due or self._status_due or self._answers or self._logs:
            return True
        return not self.link.idle()

    def _send(self):
        """Send up to MAX_LINES lines, while the link has room.  Return True if anything was sent."""
        sent = 0
        while sent < MAX_LINES and self.link.ready():
            # The next line reports the loss of this one.
            self._count_lost()
            if not self._format_next():
                break
            self._line.end()
            self.link.send(self._line.buffer, self._line.size)
            sent += 1
        self._count_lost()
        return sent > 0

    def _count_lost(self):
        """Count the lines that the link lost.  It can only lose the line that was sent last."""
        while self._lost != self.link.lost:
            self._lost += 1
            self.ring.lose(self._line_flags)

    def _format_next(self):
        """Format the next record in `_line`, without its check.  Return False if there is none.

        Hello and status records are built at send time, so their contents are current.
        """
        line = self._line
        self._line_flags = 0
        if self._hello_due:
            self._hello_due = False
            self._format_hello()
        elif self._answers:
            number, ok, text = self._answers.pop(0)
            self._format_text(b"A", number, ok, text)
        elif self._logs:
            line.begin(b"L")
            set_word(self._words, 0, self._now, self._turns)
            line.words(self._words, 0, 1)
            line.text(self._logs.pop(0))
        elif self._status_due:
            self._status_due = False
            self._format_status()
        else:
            ring = self.ring
            kind = ring.first_kind()
            if not kind:
                return False
            self._line_flags = ring.flag_first()
            line.begin(_KINDS[kind])
            line.words(ring.words, ring.start, _FIELDS[kind])
            ring.drop_first()
        return True

    def _format_hello(self):
        line = self._line
        words = self._words
        set_word(words, 0, PROTOCOL, 0)
        set_word(words, 1, self.store.boot, 0)
        set_word(words, 2, self._now, self._turns)
        set_word(words, 3, self.counter.clock_hz, 0)
        set_word(words, 4, self.counter.tick_cycles, 0)
        set_word(words, 5, self.store.values["interval_ms"], 0)
        set_word(words, 6, self.store.crc, 0)
        line.begin(b"H")
        line.words(words, 0, 1)
        line.text(self._version)
        line.text(self._name)
        line.text(self._uid)
        line.words(words, 1, 6)
        line.text(self._layout)

    def _format_status(self):
        words = self._words
        set_word(words, 0, self._now, self._turns)
        set_word(words, 1, self.board.temperature_mk(), 0)
        set_word(words, 2, self.board.supply_mv(), 0)
        set_word(words, 3, self.ring.high, 0)
        set_word(words, 4, self.ring.dropped, 0)
        set_word(words, 5, self.link.short_writes, 0)
        set_word(words, 6, self.session.bad, 0)
        self._line.begin(b"S")
        self._line.words(words, 0, 7)

    def _format_text(self, kind, number, ok, text):
        set_word(self._words, 0, number, 0)
        set_word(self._words, 1, ok, 0)
        self._line.begin(kind)
        self._line.words(self._words, 0, 2)
        self._line.text(text)

    # ------------------------------------------------------------ requests of the host

    def _read(self):
        """Read up to MAX_BYTES bytes, and at most one command.  Return True if any byte came."""
        byte = self.link.read()
        left = MAX_BYTES
        while byte >= 0:
            request = self.session.take(byte)
            if request is not None:
                self._handle(request)
                return True
            left -= 1
            byte = self.link.read() if left else -1
        return left < MAX_BYTES

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
            self._answers.append((number, ok, frame.escape(text)))

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
            self.session.bad += 1
            return 0, reason
        # The verb is "refuse"; its name is the reason.
        return 0, request.name

    def _set(self, name, value):
        """Put a setting in force and keep it in flash.

        Returns "" if that was done.  Otherwise nothing has changed, and the reason is returned.
        """
        if not in_range(name, value):
            return "%s cannot be %d" % (name, value)
        if name == "interval_ms":
            reason = counting.why_not(value, self._period(), self.counter.clock_hz, self.counter.tick_cycles)
            if reason:
                return reason
        if self.store.values[name] != value:
            try:
                self.store.put(name, value)
            except OSError:
                return "the flash refuses writes, nothing changed"
            self.counter.set_interval(self.store.values["interval_ms"])
        self._hello_due = True
        return ""

    def _period(self):
        """Return the mean period of the last interval in ticks (int), or 0 if there was none."""
        n = self._interval_in[1 + counting.N]
        if n < 2:
            return self._interval_in[1 + counting.LONGEST]
        # The mean period p follows from S = p n (n - 1) / 2, which holds for evenly spaced edges.
        return 2 * self._interval_in[1 + counting.S] // (n * (n - 1))
