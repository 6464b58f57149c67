"""What the processes of the virtual board agree on: the record of its FIFO, its clock, and its exit codes.

The host's feed (coilcount.simulate.feed) writes one record into the FIFO for each millisecond of a scene.  The firmware
reads the records in place of edges (firmware/virtual/).  While the board has no power, the host reads them
(coilcount.virtual).  This module is not part of the wire, and it is not installed on a board.
"""

# A record, little-endian, in the letters of `struct`; its fields in order, and its length in bytes.  The sums are those
# of the edges of one millisecond, with the units of an interval record (records.Interval), and are counted from the
# start of the scene.  n is 0 if there was no edge; shortest is 0 if no period ended.  `flags` are records.FLAG_*.
FORMAT = "<IIIIHHHHIHH"
FIELDS = (
    "first_edge", "n", "t_first", "s", "shortest", "longest", "amplitude", "flags", "temperature_mk", "supply_mv",
    "control",
)  # fmt: skip
SIZE = 32

# Bits of `control`.
UNPLUGGED = 1  # the plug is pulled in this millisecond, and the board has no power from here on
PLUGGED = 2  # the plug is in again from this millisecond
MARKED = 4  # the mark button was pressed in this millisecond

# The counter's clock, as on an RP2040: Hz, and clock cycles in a tick.
CLOCK_HZ = 125_000_000
TICK_CYCLES = 2

# Exit codes of the firmware's process.
EXIT_SCENE_ENDED = 0
EXIT_UNPLUGGED = 86
EXIT_NO_HOST = 87
