"""Stored sequences: what they say, what they take, how they run, and when they run by themselves."""
