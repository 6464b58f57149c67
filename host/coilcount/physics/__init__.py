"""Formulas with their sources: coil, field, targets, soil, noise."""
