"""Current, time and placing for electroplating a part, from its geometry and a solve of the field."""

__version__ = "0.1.0"
