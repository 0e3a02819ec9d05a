"""Readings taken by hand at places that a run asked for."""
