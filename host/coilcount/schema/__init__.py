"""TOML files that people write: strict reading into frozen records, and the tables that files share."""
