"""Judges what a board sent; pure: no port, no clock."""
