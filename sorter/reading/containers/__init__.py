"""The formats that cameras write, each known by its content, never by its name."""
