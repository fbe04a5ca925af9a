"""NATS JetStream: the order of record of the spread-out way to run."""

from spinfloor.adapters.nats.bus import NatsBus
from spinfloor.adapters.nats.checkpoints import NatsCheckpoints
from spinfloor.adapters.nats.connection import NatsLink
from spinfloor.adapters.nats.events import NatsEvents
from spinfloor.adapters.nats.inputs import NatsInputs
from spinfloor.adapters.nats.leases import NatsLeases
from spinfloor.adapters.nats.server_clock import ServerClock

__all__ = ["NatsBus", "NatsCheckpoints", "NatsEvents", "NatsInputs", "NatsLeases", "NatsLink", "ServerClock"]
