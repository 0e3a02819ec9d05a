"""Joints between tiles: where they are, how wide and deep, and the lip from face to face."""
