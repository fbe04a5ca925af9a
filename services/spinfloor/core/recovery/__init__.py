"""Altitude left, what earlier spins teach, and the calls."""
