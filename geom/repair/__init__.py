"""Faces of any quality into one sound solid, and a list of what was changed."""
