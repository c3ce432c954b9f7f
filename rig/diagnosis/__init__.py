"""Ranks causes from what was observed, says why, and proposes what to look at next."""
