"""Formula families, one per file, each with its source or derivation."""
