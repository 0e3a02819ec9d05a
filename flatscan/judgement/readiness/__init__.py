"""Readiness: besides being flat, is the floor dry, sound, free of cracks, clean and warm enough."""
