"""The least fill, and the edges it runs out in."""
