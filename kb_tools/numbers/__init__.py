"""Odds, minutes and the best order of checks."""
