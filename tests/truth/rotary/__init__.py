"""A second simulator: invented aircraft by coefficient tables as a rotary balance gives them; see docs/method/truth.md."""
