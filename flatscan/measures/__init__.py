"""Measures: what a straightedge, a feeler and the published indices would say, with uncertainty."""
