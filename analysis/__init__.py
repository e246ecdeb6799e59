"""Reading a pull: arrays in, frozen values out.

Pure: numpy and scipy only; no files, clocks, threads, logs or windows. Inside, torque is in N.m, angle in degrees, time in seconds.

The vocabulary, open to everybody: `errors`, `units`, `trace`, `window`, `results`.
The work, a folder a subject: `pull` finds pulls in a stream and reads them (`pull.reading` composes), `sensor` corrects by its
calibration, `verdict` holds readings against a window.
"""
