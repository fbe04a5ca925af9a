"""Driving one detector per sortie over the stored frames and journalling its events."""
