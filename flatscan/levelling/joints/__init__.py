"""Joints, lips and tiles: what they ask for and what it takes."""
