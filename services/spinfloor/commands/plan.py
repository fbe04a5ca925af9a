"""`spinfloor plan check`, `plan schema` and `spinfloor budget`: a plan on the ground, before anyone flies it."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from spinfloor.commands._saying import say

if TYPE_CHECKING:
    from spinfloor.core.plan.budget import Budget, CardBudget

CAUTION = (
    "Heights are estimates with the plan's own numbers; the crew, the test conductor and the approved test plan decide."
)
NAME_WIDTH = 18


def register(group: click.Group) -> None:
    """Add the commands."""
    group.add_command(plan)
    group.add_command(budget)


@click.group()
def plan() -> None:
    """Check a plan, or print the schema of one."""


@plan.command()
@click.argument("path", metavar="PLAN", type=click.Path(path_type=Path))
def check(path: Path) -> None:
    """Check PLAN (YAML or JSON) and list every fault by path. Exit code 0 without faults, 2 with."""
    from spinfloor.adapters.plan_files import load_plan
    from spinfloor.core.plan.faults import PlanError
    from spinfloor.core.plan.gate import build_up_notes
    from spinfloor.core.plan.rules import RULES

    try:
        checked = load_plan(path)
    except PlanError as error:
        for fault in error.faults:
            click.echo(fault.sentence, err=True)
        count = len(error.faults)
        say(f"{path} was refused with {count} fault{'s' if count != 1 else ''}.")
        sys.exit(2)
    for note in build_up_notes(checked):
        click.echo(f"note: {note}")
    rule = RULES[checked.rule]
    if not rule.verified:
        click.echo(f"note: the rule {rule.key} is from memory and not verified against its text")
    click.echo(f"{path}: a good plan, {len(checked.cards)} card{'s' if len(checked.cards) != 1 else ''}.")


@plan.command()
def schema() -> None:
    """Print the JSON Schema of a plan."""
    from spinfloor.core.plan.load import plan_schema

    click.echo(json.dumps(plan_schema(), indent=2))


@click.command()
@click.argument("path", metavar="PLAN", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the budget as JSON.")
def budget(path: Path, as_json: bool) -> None:
    """Entry height each card of PLAN needs, and whether it has it.

    Exit code 0 when every card has enough height, 1 when one is refused, 2 when the plan has faults.
    """
    from spinfloor.adapters.plan_files import load_plan
    from spinfloor.core.plan.budget import budget as budget_of

    worked = budget_of(load_plan(path))
    if as_json:
        click.echo(json.dumps(worked.as_record(), indent=2))
    else:
        click.echo("\n".join(_lines(worked)))
    if not worked.enough:
        short = [card for card in worked.cards if not card.enough]
        for card in short:
            say(f"{card.sentence}.")
        sys.exit(1)


def _lines(worked: Budget) -> list[str]:
    floors = ", ".join(f"{name} {height:,.0f} ft" for name, height in sorted(worked.floors_ft.items()))
    out = [
        worked.title,
        f"heights by {worked.reference}; floors: {floors}; cautious bound {worked.cautious_bound * 100:g} %",
    ]
    for card in worked.cards:
        out += ["", *_card_lines(card)]
    out += [f"note: {note}" for note in worked.notes]
    return [*out, "", CAUTION]


def _card_lines(card: CardBudget) -> list[str]:
    head = f"card {card.card}" + (f", {card.title}" if card.title else "")
    out = [head, f"  {'entry':<{NAME_WIDTH}} {'':>9} {card.entry_ft:>9,.0f} ft"]
    out += [f"  {p.name:<{NAME_WIDTH}} {-p.loss_ft:>9,.0f} {p.bottom_ft:>9,.0f} ft" for p in card.parts]
    out += [
        f"  {'cautious allowance':<{NAME_WIDTH}} {-card.allowance_ft:>9,.0f} {card.cautious_level_ft:>9,.0f} ft",
        f"  {'recovery floor':<{NAME_WIDTH}} {'':>9} {card.floor_ft:>9,.0f} ft",
        f"  {card.sentence.split(': ', 1)[1]}",
    ]
    return out
