"""Reading a pull: arrays in, frozen values out.

Pure: numpy and scipy only; no files, clocks, threads, logs or windows. Inside, torque is in N.m, angle in degrees, time in seconds.

The vocabulary, open to everybody: `errors`, `units`, `trace`, `window`, `results`.
The work: `pulls` finds pulls in a stream, `reading` reads one pull (the only composer of the rest), `judge` holds a reading
against a window.
"""
