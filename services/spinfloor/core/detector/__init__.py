"""The detector: one compiled step per frame over plain state records, and the object that drives it."""
