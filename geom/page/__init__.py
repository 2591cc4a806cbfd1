"""The local page: the same plans in a browser, served to this machine alone."""
