"""The command line: thin commands over the same functions that anyone can import."""
