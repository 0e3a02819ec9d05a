"""Tables of level readings."""
