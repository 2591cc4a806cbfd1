"""How should it hang? Poses of a part, weighed on kept panels; no hidden score."""
