"""Lips and depths of joints, tilt and warp of tiles, from the height samples of all views."""
