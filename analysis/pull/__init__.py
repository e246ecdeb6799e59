"""Reading one pull: where it begins and ends, its course, and the figures read off it."""
