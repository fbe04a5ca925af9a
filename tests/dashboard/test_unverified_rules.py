"""A rule nobody has read in its own text says so wherever a verdict or the rule is shown."""

from dataclasses import asdict
from typing import Any

import pytest
from plotly.utils import PlotlyJSONEncoder

from spinfloor.core.plan.judge import SpinFigures, judge
from spinfloor.core.plan.rules import RULES
from spinfloor_dashboard.components.debrief_parts import _verdict
from spinfloor_dashboard.components.plan_panels import rule_label


def _shown(component: Any) -> str:
    """Everything a component would send to the browser."""
    return str(PlotlyJSONEncoder().encode(component))


@pytest.mark.parametrize("key", sorted(RULES))
def test_the_verdict_on_the_debrief_screen(key: str) -> None:
    rule = RULES[key]
    record = judge(rule, SpinFigures(8.0, 20.0, 0.5, 100.0)).as_record()
    shown = _shown(_verdict(record))
    assert rule.source.split(",")[0] in shown
    assert (", from memory" in shown) is not rule.verified


@pytest.mark.parametrize("key", sorted(RULES))
def test_the_rule_on_the_plan_screen(key: str) -> None:
    assert rule_label(asdict(RULES[key])).endswith("(verified)" if RULES[key].verified else "(from memory)")
