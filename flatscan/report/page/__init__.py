"""The page: all of a result in one file that works offline."""
