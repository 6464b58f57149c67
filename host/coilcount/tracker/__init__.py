"""tracker: interval sums or readings in, alerts and holds out.

The same files run under CPython as coilcount.tracker and on the board as coiltrack.  No clock, file or port: time comes
in with the data.  `tracker.Tracker` is the way in, `defaults` the table of its settings, `records` what comes out.
"""
