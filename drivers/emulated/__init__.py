"""The simulated bench: hand, lever, packs and sensor with their own simple physics, served as bytes by a process of its own."""
