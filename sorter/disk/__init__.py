"""The only door to the file system."""
