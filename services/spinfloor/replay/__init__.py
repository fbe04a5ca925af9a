"""Rehearsing: recordings played into sorties through the same door as flights, with things going wrong on request."""
