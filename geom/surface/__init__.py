"""Geometry of triangle surfaces and solids. Knows arrays and metres; no bath, no solver."""
