"""An adapter outside the contract suite fails here."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from typing import Any

from tests.ports.contract.sides import Side

import spinfloor.adapters
from spinfloor import ports

PROTOCOLS = {
    name: thing
    for name in ports.__all__
    if inspect.isclass(thing := getattr(ports, name))
    and getattr(thing, "_is_protocol", False)
    and name != "Subscription"
}


def promised(protocol: Any) -> set[str]:
    return {name for name, thing in vars(protocol).items() if inspect.isfunction(thing) and not name.startswith("_")}


def adapter_classes() -> dict[type, list[str]]:
    """Every class below spinfloor.adapters that has all methods of a port."""
    found: dict[type, list[str]] = {}
    for module in pkgutil.walk_packages(spinfloor.adapters.__path__, "spinfloor.adapters."):
        for thing in vars(importlib.import_module(module.name)).values():
            if inspect.isclass(thing) and thing.__module__ == module.name:
                fits = [
                    name for name, protocol in PROTOCOLS.items() if all(hasattr(thing, m) for m in promised(protocol))
                ]
                if fits:
                    found[thing] = fits
    return found


async def test_the_side_offers_every_port(side: Side) -> None:
    members = [type(getattr(side.ports, name)) for name in side.ports.__slots__]
    bundled = [t for t in members if t.__module__.startswith("spinfloor.adapters.")]
    for name, protocol in PROTOCOLS.items():
        offering = [t for t in bundled if all(hasattr(t, m) for m in promised(protocol))]
        assert offering, f"no adapter of {name} in the bundle"
    for adapter, fits in adapter_classes().items():
        family = adapter.__module__.split(".")[2]
        mine = {t.__module__.split(".")[2] for t in bundled}
        if family in mine:
            assert adapter in bundled, f"{adapter.__name__} implements {fits} but no contract test reaches it"


def test_every_adapter_family_belongs_to_a_side() -> None:
    families = {adapter.__module__.split(".")[2] for adapter in adapter_classes()}
    assert families == {"sqlite", "memory_bus", "system_clock", "nats", "postgres"}
