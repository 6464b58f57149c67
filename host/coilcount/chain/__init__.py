"""From the entries of a capture to outputs: the one path for live and replay.  No clock, file or port in here."""

from coilcount.chain.chain import Chain

__all__ = ["Chain"]
