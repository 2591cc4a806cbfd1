"""The features of a surface: what a person would call the places of it, and where they are."""
