"""The truth benchmark: flights with known truth through the product's detector, scored and tabulated."""
