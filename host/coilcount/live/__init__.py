"""The engine of a live run: session and readout, no terminal."""
