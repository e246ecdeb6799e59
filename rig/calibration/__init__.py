"""Calibrating the sensor, and which calibration counts for a reading."""
