"""Synth: invented floors whose truth is known exactly, and sensors that see them badly. No stage imports it."""
