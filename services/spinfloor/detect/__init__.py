"""Driving one detector per sortie from the input journal: feed, journal events, publish, save, resume."""
