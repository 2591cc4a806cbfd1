"""The part: a closed surface, split into features a person can find on it."""
