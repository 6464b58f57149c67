"""Entries of a capture to outputs: the one path for live and replay.  Pure: no clock, no file, no port."""

from coilcount.chain.chain import Chain

__all__ = ["Chain"]
