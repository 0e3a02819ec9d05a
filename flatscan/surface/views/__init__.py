"""Stations and frames laid on each other, and what each of them saw."""
