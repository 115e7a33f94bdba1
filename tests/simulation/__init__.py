"""Simulated walls: two generators of different structure, whose truth is known."""
