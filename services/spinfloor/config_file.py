"""Options from a file: `spinfloor --config FILE ...`. What the command line or the environment says comes first."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click
import yaml

from spinfloor.core.errors import SpinfloorError


class ConfigFileError(SpinfloorError):
    """The file is none, or names what there is not."""

    code = "bad-config-file"

    def __init__(self, path: Path, expected: str, got: str) -> None:
        super().__init__(expected=f"{path.name}: {expected}", got=got, now="nothing was started")


def config_option() -> click.Option:
    """`--config FILE`, for the group of all commands."""
    return click.Option(
        ["--config"],
        type=click.Path(path_type=Path),
        envvar="SPINFLOOR_CONFIG",
        is_eager=True,
        expose_value=False,
        callback=_configured,
        help="YAML file with options by command, e.g. `serve: {port: 8100, data: /srv/spins}`.",
    )


def _configured(context: click.Context, _parameter: click.Parameter, path: Path | None) -> None:
    if path is None:
        return
    command = context.command
    assert isinstance(command, click.Group)
    context.default_map = _checked(path, _read(path), command, "")


def _read(path: Path) -> Any:
    try:
        data = yaml.safe_load(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise ConfigFileError(path, "a file that can be read", error.strerror or str(error)) from error
    except (yaml.YAMLError, UnicodeDecodeError, RecursionError) as error:
        words = " ".join(str(error).split())[:200]
        raise ConfigFileError(path, "YAML", words or type(error).__name__) from error
    return {} if data is None else data


def _checked(path: Path, data: Any, group: click.Group, where: str) -> dict[str, Any]:
    """Every name is a command or one of its options, told by its place when it is not."""
    found: dict[str, Any] = {}
    for name, value in _mapping(path, data, where or "the file").items():
        place = f"{where}{name}"
        command = group.commands.get(str(name))
        if command is None:
            raise ConfigFileError(path, f"one of the commands {', '.join(sorted(group.commands))}", repr(place))
        if isinstance(command, click.Group):
            found[str(name)] = _checked(path, value, command, f"{place}.")
        else:
            found[str(name)] = _options(path, value, command, place)
    return found


def _options(path: Path, data: Any, command: click.Command, place: str) -> dict[str, Any]:
    """By any of an option's long names; the map wants the parameter's own."""
    names: dict[str, str] = {}
    for option in command.params:
        if isinstance(option, click.Option) and option.name is not None:
            names.update({long.removeprefix("--"): option.name for long in option.opts if long.startswith("--")})
    options: dict[str, Any] = {}
    for name, value in _mapping(path, data, place).items():
        known = names.get(str(name).replace("_", "-"))
        if known is None:
            raise ConfigFileError(path, f"one of the options {', '.join(sorted(names))}", repr(f"{place}.{name}"))
        options[known] = value
    return options


def _mapping(path: Path, data: Any, place: str) -> Mapping[Any, Any]:
    if not isinstance(data, Mapping):
        raise ConfigFileError(path, f"a mapping at {place}", f"{type(data).__name__}")
    return data
