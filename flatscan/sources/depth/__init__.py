"""Depth frames: images of distance with their cameras and poses."""
