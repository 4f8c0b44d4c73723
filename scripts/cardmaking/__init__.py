"""Makes memory-card files from typed descriptions, without a line of the sorter's own code.

It serves as an outside input: what it writes is checked against readers that nobody here made.
"""
