"""IRIG 106 Chapter 10 recordings: packets, time, PCM, analog and MIL-STD-1553 channels."""
