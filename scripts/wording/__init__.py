"""Which words the code is written in, and which of them nobody could know."""
