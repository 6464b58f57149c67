"""The tracker: takes interval sums or readings, gives alerts and holds.

The same files run under CPython as `coilcount.tracker` and on the board as `coiltrack`.  There is no clock, file or
port in here: time comes in with the data.  Start with `tracker.Tracker`.  `defaults` is the table of the settings, and
`records` shows what comes out.
"""
