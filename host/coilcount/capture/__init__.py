"""Where bytes rest: the capture file, its labels, logs of other counters."""
