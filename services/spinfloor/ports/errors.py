"""What a port may raise. Every adapter raises these and nothing of its driver's."""

from spinfloor.core.errors import SpinfloorError


class UnknownSortieError(SpinfloorError):
    """No sortie of that name."""

    code = "unknown-sortie"
    http_status = 404


class SortieExistsError(SpinfloorError):
    """The name is taken by a sortie with another plan."""

    code = "sortie-exists"
    http_status = 409


class OverloadedError(SpinfloorError):
    """A bounded queue is full; nothing was taken, the sender keeps the data and tries again."""

    code = "overloaded"
    http_status = 429
    exit_code = 1


class StorageError(SpinfloorError):
    """The store can't take or give data now (disk full, read-only, damaged); nothing was acknowledged."""

    code = "storage-unavailable"
    http_status = 503
    exit_code = 1


class EventHoleError(SpinfloorError):
    """An event would leave a hole in its run's sequence."""

    code = "event-hole"
    http_status = 409
    exit_code = 1


class EventDivergedError(SpinfloorError):
    """The journal holds another event under the same sortie, run and sequence."""

    code = "event-diverged"
    http_status = 409
    exit_code = 1


class LeaseLostError(SpinfloorError):
    """Another owner has the sortie; whoever gets this stops writing at once."""

    code = "lease-lost"
    http_status = 409
    exit_code = 1


class StaleVersionError(SpinfloorError):
    """Somebody stored a newer version in between; read it again and repeat."""

    code = "stale-version"
    http_status = 409
    exit_code = 1
