"""The simulated board as processes: the real firmware in a real MicroPython."""
