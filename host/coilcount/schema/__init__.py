"""Strict reading of TOML files into frozen records, and the tables that several kinds of file share."""
