"""Lengths from a gauge into fields: `reader` reads the line, `fields` are what is filled, `entry` joins the two. No Qt."""
