"""The cell: tank, anodes and the part in its pose."""
