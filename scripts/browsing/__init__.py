"""Pages opened in a real browser, by tests and by the script that takes README's picture."""
