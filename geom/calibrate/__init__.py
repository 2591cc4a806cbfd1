"""A user's own bath from readings at the bench."""
