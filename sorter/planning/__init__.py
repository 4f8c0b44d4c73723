"""Where every file goes, and under which name. Pure."""
