"""Captures on the disk: writer, reader, labels and CSV logs."""
