"""The virtual board: the real firmware in a real MicroPython, as processes."""
