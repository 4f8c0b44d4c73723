"""Brings real pictures together, which the tests hold the reader against; imports nothing of ours."""
