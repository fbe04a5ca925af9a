"""Both servers together: the bundle of ports for the spread-out way to run."""

from spinfloor.adapters.spread.copier import Copier
from spinfloor.adapters.spread.opening import Spread, open_spread

__all__ = ["Copier", "Spread", "open_spread"]
