"""Simulation: from a scene to the lines that a board would send, and the truth as labels."""
