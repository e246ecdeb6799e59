"""Checks of the machine: what stands in the way of work, and what to do about it."""
