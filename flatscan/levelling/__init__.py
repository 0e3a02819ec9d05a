"""Levelling: the least work that makes the floor meet its limits, and what it takes to buy."""
