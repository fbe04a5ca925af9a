"""`make bench`: every speed that matters, in one run on the same data, as ratios against a committed baseline."""
