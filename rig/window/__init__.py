"""The window: models and views without Qt, and the widgets in `qt` that show them."""
