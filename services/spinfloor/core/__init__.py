"""The pure core: frames in, events out. No await, clock, socket or log anywhere below this package."""
