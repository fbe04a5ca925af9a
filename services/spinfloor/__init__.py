"""spinfloor: a live watch over spin tests. It advises; the crew and the test conductor decide."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("spinfloor")
except PackageNotFoundError:  # running from a source tree that was never installed
    __version__ = "0+unknown"

__all__ = ["__version__"]
