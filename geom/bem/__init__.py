"""Potential theory on triangles: the boundary integral equation, its operators and its solution."""
