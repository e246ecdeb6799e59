"""Widgets: they show what a model holds and pass on what the user wants. No computation."""
