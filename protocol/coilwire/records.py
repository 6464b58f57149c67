"""The kinds of record on the wire, with their fields, units and moduli.

A record is a namedtuple whose fields are ints or str.  `read` converts a frame into a record, and `write` converts a
record into a line.  A number field has a modulus: a counter that reaches it starts again at 0, and the host takes
differences modulo it.

Older readers ignore new trailing fields and new kinds.  Any other change raises coilwire.PROTOCOL.
"""

from collections import namedtuple

from . import frame

# Moduli of number fields, and the masks that take a number modulo them.
U16 = 1 << 16
U32 = 1 << 32
MASK16 = U16 - 1
MASK32 = U32 - 1

# Times in ms, as PROTOCOL.md states them: between two hello records, between two status records, from the last edge to
# the first "stopped" record, and between two of these.  Chosen by hand.
HELLO_EVERY_MS = 10_000
STATUS_EVERY_MS = 1_000
STOPPED_AFTER_MS = 50
STOPPED_EVERY_MS = 1_000

# name: str; modulus: int, 0 for a text field; unit: str.
Field = namedtuple("Field", "name modulus unit")

# Interval flags, one bit each.
FLAG_AFTER_DROP = 1  # one or more records before this one were dropped by the board
FLAG_NEW_TIME_BASE = 2  # edges and timestamps do not continue the earlier ones: a restart, or a silence too long
FLAG_DOUBLE_EDGE = 4  # a period is below 0.7 times the median: an edge was counted twice
FLAG_LOST_EDGE = 8  # a period is above 1.4 times the median: an edge was missed
FLAG_STALL = 16  # timestamps were not taken from the FIFO in time, so the time base broke just before this interval
FLAG_OVERRUN = 32  # edges just before this interval were overwritten in the ring before they were read
FLAG_REARMED = 64  # the transfer count was set again inside this interval
FLAG_NO_AMPLITUDE = 128  # the board has no amplitude channel, so `amplitude` is not valid

# Faults in words.  The edge count or the times of such an interval must not be joined to those of other intervals.
FAULTS = (
    (FLAG_DOUBLE_EDGE, "double edge"),
    (FLAG_LOST_EDGE, "lost edge"),
    (FLAG_STALL, "stall"),
    (FLAG_OVERRUN, "overrun"),
    (FLAG_REARMED, "re-armed"),
)
FAULT_BITS = FLAG_DOUBLE_EDGE | FLAG_LOST_EDGE | FLAG_STALL | FLAG_OVERRUN | FLAG_REARMED

_TABLE = (
    # Hello: at boot, on request, after a setting was changed, and every 10 s.
    ("Hello", "H", (
        ("protocol", U16, ""), ("firmware", 0, "version"), ("board", 0, "name"), ("uid", 0, "serial number"),
        ("boot", U32, "boots"), ("uptime_ms", U32, "ms"), ("clock_hz", U32, "Hz"), ("tick_cycles", U16, "cycles"),
        ("interval_ms", U16, "ms"), ("settings_crc", U32, ""), ("layout", 0, "fields of I, in short"),
    )),
    # Interval sums: one for each counting interval.  They cover the edges first_edge to first_edge + n - 1.
    ("Interval", "I", (
        ("sequence", U16, "records"), ("first_edge", U32, "edges"), ("n", U16, "edges"),
        ("t_first", U32, "ticks"), ("s", U32, "ticks"), ("shortest", U16, "ticks"), ("longest", U16, "ticks"),
        ("amplitude", U16, "0.1 mV"), ("flags", U16, "bits"),
    )),
    # Status: once a second.
    ("Status", "S", (
        ("uptime_ms", U32, "ms"), ("temperature_mk", U32, "mK"), ("supply_mv", U16, "mV"),
        ("ring_high", U16, "records"), ("dropped", U32, "records"), ("short_writes", U32, "writes"),
        ("bad_commands", U32, "commands"),
    )),
    # Stopped oscillator: after 50 ms without an edge, then once a second while that lasts.
    ("Stopped", "X", (("uptime_ms", U32, "ms"), ("silent_ms", U32, "ms"))),
    # Mark: the mark button was pressed.
    ("Mark", "M", (("uptime_ms", U32, "ms"), ("number", U32, "marks"))),
    # Answer to a command: ok is 1 or 0.
    ("Answer", "A", (("id", U32, ""), ("ok", U16, "0 or 1"), ("text", 0, "text"))),
    # Log: a text for a person.
    ("Log", "L", (("uptime_ms", U32, "ms"), ("text", 0, "text"))),
    # Command, host to board.  Values are absolute, so repeating a command is harmless.
    ("Command", "C", (("id", U32, ""), ("verb", 0, "text"), ("name", 0, "text"), ("value", U32, ""))),
)

Hello = namedtuple("Hello", [f[0] for f in _TABLE[0][2]])
Interval = namedtuple("Interval", [f[0] for f in _TABLE[1][2]])
Status = namedtuple("Status", [f[0] for f in _TABLE[2][2]])
Stopped = namedtuple("Stopped", [f[0] for f in _TABLE[3][2]])
Mark = namedtuple("Mark", [f[0] for f in _TABLE[4][2]])
Answer = namedtuple("Answer", [f[0] for f in _TABLE[5][2]])
Log = namedtuple("Log", [f[0] for f in _TABLE[6][2]])
Command = namedtuple("Command", [f[0] for f in _TABLE[7][2]])
# A record of a kind that this reader does not know.  It is kept whole and is no error.  fields: tuple of bytes.
Unknown = namedtuple("Unknown", "kind fields")

_TYPES = (Hello, Interval, Status, Stopped, Mark, Answer, Log, Command)
FIELDS = {row[1]: tuple([Field(*field) for field in row[2]]) for row in _TABLE}
_TYPE_OF = {_TABLE[i][1]: _TYPES[i] for i in range(len(_TYPES))}
_KIND_OF_TYPE = {_TYPES[i]: _TABLE[i][1] for i in range(len(_TYPES))}
# Hello.layout: short names of the fields of an interval record.  A board with further fields appends their names.
LAYOUT = "seq.edge.n.t.s.min.max.amp.flags"


def faults(flags):
    """Return the names in FAULTS (list of str) of the faults in `flags` of an interval."""
    return [word for flag, word in FAULTS if flags & flag]


def read(wire_frame):
    """Return the record in a frame (frame.Frame).

    An unknown kind is returned as Unknown.  Trailing fields that are not known here are dropped.

    Raises ValueError if a known kind has too few fields, a bad number, a number that is not below its modulus, or bad
    text.  Also raises it if a field of an unknown kind is bad text.
    """
    kind, raw = wire_frame
    fields = FIELDS.get(kind)
    if fields is None:
        # Its fields may be numbers or text.  Both must at least be soundly escaped.
        for field in raw:
            frame.unescape(field)
        return Unknown(kind, raw)
    if len(raw) < len(fields):
        raise ValueError("%s needs %d fields and has %d" % (kind, len(fields), len(raw)))
    values = []
    for (name, modulus, _), text in zip(fields, raw):
        if modulus:
            value = frame.digits(text)
            if value >= modulus:
                raise ValueError("%s.%s is %d, not below %d" % (kind, name, value, modulus))
        else:
            value = frame.unescape(text)
        values.append(value)
    return _TYPE_OF[kind](*values)


def write(record):
    """Return the line (bytes) of a record.  Raises ValueError if a number is not below its modulus."""
    kind = _KIND_OF_TYPE[type(record)]
    values = []
    for (name, modulus, _), value in zip(FIELDS[kind], record):
        if not modulus:
            value = frame.escape(value)
        elif value < 0 or value >= modulus:
            raise ValueError("%s.%s cannot hold %d" % (kind, name, value))
        values.append(value)
    return frame.encode(kind, values)
