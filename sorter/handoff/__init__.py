"""Hands the stacks of a shoot to another program, as lists and folders."""
