"""The kinds of record on the wire: their fields, units and moduli.

Each record is a namedtuple whose fields are ints or str.  `read` turns a frame into a record,
`write` a record into a line.  A number field has a modulus: the board counts up to it and wraps,
and the host takes differences modulo it.  New trailing fields and new kinds are ignored by older
readers; anything else raises coilwire.PROTOCOL.
"""

from collections import namedtuple

from . import frame

U16 = 1 << 16
U32 = 1 << 32

# What a field is: its name, its modulus (0 for text), its unit.
Field = namedtuple("Field", "name modulus unit")

# Interval flags, one bit each.
FLAG_AFTER_DROP = 1  # one or more records before this one were dropped by the board
FLAG_NEW_TIME_BASE = 2  # timestamps do not continue those before: counter restarted or silence too long
FLAG_DOUBLE_EDGE = 4  # a period under 0.7 of the median: an edge counted twice
FLAG_LOST_EDGE = 8  # a period over 1.4 of the median: an edge missed
FLAG_STALL = 16  # the timestamp FIFO was not drained: the time base broke inside this interval
FLAG_OVERRUN = 32  # the edge ring was overwritten before it was read
FLAG_REARMED = 64  # the transfer count was re-armed inside this interval
FLAG_NO_AMPLITUDE = 128  # no amplitude channel: `amplitude` means nothing

# What went wrong inside an interval, in words: its count or its times are not to be joined to others.
FAULTS = (
    (FLAG_DOUBLE_EDGE, "double edge"),
    (FLAG_LOST_EDGE, "lost edge"),
    (FLAG_STALL, "stall"),
    (FLAG_OVERRUN, "overrun"),
    (FLAG_REARMED, "re-armed"),
)
FAULT_BITS = FLAG_DOUBLE_EDGE | FLAG_LOST_EDGE | FLAG_STALL | FLAG_OVERRUN | FLAG_REARMED

_TABLE = (
    # hello: at boot, on request, every 10 s
    ("Hello", "H", (
        ("protocol", U16, ""), ("firmware", 0, "version"), ("board", 0, "name"), ("uid", 0, "serial number"),
        ("boot", U32, "boots"), ("uptime_ms", U32, "ms"), ("clock_hz", U32, "Hz"), ("tick_cycles", U16, "cycles"),
        ("interval_ms", U16, "ms"), ("settings_crc", U32, ""), ("layout", 0, "fields of I, in short"),
    )),
    # interval sums: one a counting interval; edges first_edge .. first_edge + n - 1
    ("Interval", "I", (
        ("sequence", U16, "records"), ("first_edge", U32, "edges"), ("n", U16, "edges"),
        ("t_first", U32, "ticks"), ("s", U32, "ticks"), ("shortest", U16, "ticks"), ("longest", U16, "ticks"),
        ("amplitude", U16, "0.1 mV"), ("flags", U16, "bits"),
    )),
    # status: once a second
    ("Status", "S", (
        ("uptime_ms", U32, "ms"), ("temperature_mk", U32, "mK"), ("supply_mv", U16, "mV"),
        ("ring_high", U16, "records"), ("dropped", U32, "records"), ("short_writes", U32, "writes"),
        ("bad_commands", U32, "commands"),
    )),
    # stopped oscillator: 50 ms without an edge, then once a second while it lasts
    ("Stopped", "X", (("uptime_ms", U32, "ms"), ("silent_ms", U32, "ms"))),
    # mark: a button on the board
    ("Mark", "M", (("uptime_ms", U32, "ms"), ("number", U32, "marks"))),
    # answer to a command: ok is 1 or 0
    ("Answer", "A", (("id", U32, ""), ("ok", U16, "0 or 1"), ("text", 0, "text"))),
    # log: something the board wants to say
    ("Log", "L", (("uptime_ms", U32, "ms"), ("text", 0, "text"))),
    # command, host to board: absolute values, so that repeating one is harmless
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
# A kind that this reader does not know: kept whole, never an error.
Unknown = namedtuple("Unknown", "kind fields")

_TYPES = (Hello, Interval, Status, Stopped, Mark, Answer, Log, Command)
FIELDS = {row[1]: tuple([Field(*field) for field in row[2]]) for row in _TABLE}
_TYPE_OF = {_TABLE[i][1]: _TYPES[i] for i in range(len(_TYPES))}
_KIND_OF_TYPE = {_TYPES[i]: _TABLE[i][1] for i in range(len(_TYPES))}
# What Hello.layout says: the fields of an interval record, in short.  A board that sends more appends.
LAYOUT = "seq.edge.n.t.s.min.max.amp.flags"


def faults(flags):
    """The words of FAULTS for the flags of an interval."""
    return [word for flag, word in FAULTS if flags & flag]


def read(wire_frame):
    """The record in a frame.  Unknown kinds come back as Unknown, trailing new fields are dropped.

    Raises ValueError where a known kind has too few fields, a bad number, one not below its
    modulus, or bad text; also where a field of an unknown kind is bad text.
    """
    kind, raw = wire_frame
    fields = FIELDS.get(kind)
    if fields is None:
        # Of its fields only this is known: numbers and text alike can be unescaped.
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
    """The line (bytes) for a record.  Raises ValueError where a number does not fit its modulus."""
    kind = _KIND_OF_TYPE[type(record)]
    values = []
    for (name, modulus, _), value in zip(FIELDS[kind], record):
        if not modulus:
            value = frame.escape(value)
        elif value < 0 or value >= modulus:
            raise ValueError("%s.%s cannot hold %d" % (kind, name, value))
        values.append(value)
    return frame.encode(kind, values)
