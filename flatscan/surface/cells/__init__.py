"""Points into cells: a height each, with its own uncertainty."""
