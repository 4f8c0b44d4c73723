"""The nouns: frozen values that every room may use. Imports nothing of ours."""
