"""Tables of baths, metals and anodes: TOML, every value with its source. Read them by `geom.tables.read`."""
