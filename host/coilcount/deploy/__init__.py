"""Puts the firmware on a board."""
