"""The floor as data for the interactive page, and the page's own scripts."""
