"""One plan, many renderers: text, JSON, figures, tables and meshes. Nothing is computed here."""
