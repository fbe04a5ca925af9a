"""spinfloor: a live watch over spin tests. It advises; the crew and the test conductor decide."""

from importlib.metadata import PackageNotFoundError, version

from spinfloor._compile_cache import use_keyed_cache

try:
    __version__ = version("spinfloor")
except PackageNotFoundError:  # running from a source tree that was never installed
    __version__ = "0+unknown"

use_keyed_cache()

__all__ = ["__version__"]
