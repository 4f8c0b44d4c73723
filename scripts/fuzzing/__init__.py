"""Throws damaged and hostile files at the reader and looks at what comes out; see scripts/fuzz."""
