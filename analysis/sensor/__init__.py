"""The torque sensor: its calibration, what a certificate does to a reading, what its zero did."""
