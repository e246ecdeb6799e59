"""What readings mean against a window: which pulls count, uncertainty, verdict."""
