"""The prediction benchmark: predicted against actual altitude at level flight, as learning proceeds."""
