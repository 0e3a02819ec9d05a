"""Judgement: measured values against limits, with the chance of being wrong."""
