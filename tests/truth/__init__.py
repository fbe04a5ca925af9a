"""An independent source of truth: our own flight simulator, prescribed motions, a flight library, a bad recorder.

Nothing below this package imports the product: the truth of a flight must not be computed by the code under test.
"""
