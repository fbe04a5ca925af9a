"""Rehearsal: playing recordings back as if live, with faults."""
