"""A shoot as one page of HTML: what was found, and what deserves a look. Pure."""
