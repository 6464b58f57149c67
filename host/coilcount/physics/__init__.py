"""Formulas with their sources: coil, field, targets, ground, noise."""
