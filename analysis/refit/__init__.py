"""Refitting the unit: side-bearing preload, drag, backlash, fasteners and fill, as figures against the maker's page.

Lengths are in mm, torques in N.m, angles in degrees, volumes in litres; every module takes plain values and returns frozen ones.
"""
