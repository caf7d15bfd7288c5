"""Graded sets of recordings to learn from: the set, the listening page, the marking."""
