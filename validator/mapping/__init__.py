"""How do an export's own columns become the canonical table? A mapping that a person writes, applied by whole columns."""
