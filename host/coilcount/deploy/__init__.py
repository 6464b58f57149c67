"""Puts the firmware on a board, through MicroPython's prompt."""
