"""Judgement of what a board said; pure: no port, no clock."""
