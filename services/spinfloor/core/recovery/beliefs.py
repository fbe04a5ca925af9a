"""What earlier spins of an aircraft have taught, as a value: priors, the evidence, and predictions from both.

A Beliefs is never changed; learning or forgetting makes a new one with the next revision. It is plain JSON outside,
with every piece of evidence in it, so that what the tool believes can always be shown, checked and taken back. The
numbers come from the same compiled functions the live step uses.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import MODES, Json, Mode
from spinfloor.core.plan.flatten import pull_out_prior_ft
from spinfloor.core.plan.model import Plan, Prior
from spinfloor.core.recovery.learning import (
    BELIEFS_DTYPE,
    LOSS_PER_TURN,
    MODE_NOT_KNOWN,
    PULL_OUT_LOSS,
    RECOVERY_TURNS,
    learn,
    predict,
    set_prior,
)
from spinfloor.core.recovery.quantiles import student_quantile
from spinfloor.core.units import METRES_PER_FOOT

SCHEMA_VERSION: Final = 1
QUANTITIES: Final = (
    ("recovery_turns", RECOVERY_TURNS, 1.0),
    ("loss_per_turn_ft", LOSS_PER_TURN, METRES_PER_FOOT),
    ("pull_out_loss_ft", PULL_OUT_LOSS, METRES_PER_FOOT),
)


class BeliefsError(SpinfloorError):
    """Stored beliefs that cannot be read."""

    code = "bad-beliefs"
    http_status = 422


@dataclass(frozen=True, slots=True)
class Evidence:
    """One recovery: what kind of spin, and what it cost.

    `pull_out_loss_ft` is the loss not explained by turns; `density_ratio` the air density where the controls went in over
    that at 10,000 ft, by which the loss is carried to that height.
    """

    sortie: str
    spin: int
    time_ns: int
    orientation: str
    direction: str
    mode: str | None
    recovery_turns: float
    loss_per_turn_ft: float | None
    pull_out_loss_ft: float
    surprise: bool = False
    density_ratio: float = 1.0

    @property
    def values(self) -> dict[str, float | None]:
        """What is learnt of each quantity, edge units; the pull-out loss at 10,000 ft."""
        return {
            "recovery_turns": self.recovery_turns,
            "loss_per_turn_ft": self.loss_per_turn_ft,
            "pull_out_loss_ft": self.pull_out_loss_ft * self.density_ratio,
        }

    @staticmethod
    def of_event(record: Mapping[str, Any], spin: int) -> Evidence | None:
        """From the record of a `recovered` event; None where nothing was learnt: recovery controls not known, inferred, or lost."""
        data = record["data"]
        if data.get("recovery_turns") is None or data.get("orientation") is None:
            return None
        if data["recovery_turns"] < 0.0 or data["loss_ft"] <= 0.0 or data.get("recovery_source") == "inferred":
            return None
        if data.get("data_lost"):
            return None
        return Evidence(
            sortie=record["sortie"],
            spin=spin,
            time_ns=record["time_ns"],
            orientation=data["orientation"],
            direction=data["direction"],
            mode=data["mode"],
            recovery_turns=data["recovery_turns"],
            loss_per_turn_ft=data["loss_per_turn_ft"],
            pull_out_loss_ft=data["pull_out_loss_ft"],
            surprise=bool(data.get("surprise", False)),
            density_ratio=data.get("density_ratio") or 1.0,
        )


@dataclass(frozen=True, slots=True)
class Prediction:
    """Student-t prediction of one quantity for the next spin of a kind, edge units."""

    location: float
    scale: float
    degrees_of_freedom: float
    own_spins: int

    def quantile(self, probability: float) -> float:
        """Value not exceeded with this probability."""
        return self.location + self.scale * float(student_quantile(probability, self.degrees_of_freedom))

    @property
    def standard_deviation(self) -> float:
        """Of the prediction."""
        return self.scale * math.sqrt(self.degrees_of_freedom / (self.degrees_of_freedom - 2.0))


@dataclass(frozen=True, slots=True)
class Beliefs:
    """Priors and evidence of one aircraft. `revision` counts the changes since the priors were set."""

    aircraft: str
    priors: Mapping[str, Prior]
    evidence: tuple[Evidence, ...] = ()
    revision: int = 0
    reset_reason: str | None = None

    @staticmethod
    def from_plan(plan: Plan) -> Beliefs:
        """The plan's priors, no spin flown."""
        priors = plan.aircraft.priors
        return Beliefs(
            aircraft=plan.aircraft.name,
            priors={
                "recovery_turns": priors.recovery_turns,
                "loss_per_turn_ft": priors.loss_per_turn_ft,
                "pull_out_loss_ft": pull_out_prior_ft(plan),
            },
        )

    def with_priors(self, plan: Plan) -> Beliefs:
        """The same evidence on the priors of another plan of the aircraft."""
        return replace(self, priors=Beliefs.from_plan(plan).priors, revision=self.revision + 1)

    def learn(self, evidence: Evidence) -> Beliefs:
        """One more recovery; the same spin of the same sortie again changes nothing."""
        if any(e.sortie == evidence.sortie and e.spin == evidence.spin for e in self.evidence):
            return self
        return replace(self, evidence=(*self.evidence, evidence), revision=self.revision + 1)

    def without(self, sortie: str, spin: int) -> Beliefs:
        """Take one recovery back out."""
        kept = tuple(e for e in self.evidence if not (e.sortie == sortie and e.spin == spin))
        return self if len(kept) == len(self.evidence) else replace(self, evidence=kept, revision=self.revision + 1)

    def reset(self, reason: str) -> Beliefs:
        """Back to the priors, with the reason."""
        return replace(self, evidence=(), revision=self.revision + 1, reset_reason=reason)

    def record(self) -> npt.NDArray[Any]:
        """BELIEFS_DTYPE, shape (1,), for the compiled step."""
        out = np.zeros(1, BELIEFS_DTYPE)
        for name, quantity, unit in QUANTITIES:
            prior = self.priors[name]
            set_prior(out[0], quantity, prior.mean * unit, prior.standard_deviation * unit, prior.worth_spins)
        for item in self.evidence:
            kind = _kind_codes(item.orientation, item.direction, item.mode)
            values = item.values
            for name, quantity, unit in QUANTITIES:
                value = values[name]
                learn(out[0], quantity, *kind, math.nan if value is None else value * unit)
        out["revision"] = len(self.evidence)
        return out

    def predict(self, orientation: str, direction: str, mode: str | None) -> dict[str, Prediction]:
        """Per quantity, for the next spin of this kind; mode None: whatever mode comes."""
        record = self.record()
        kind = _kind_codes(orientation, direction, mode)
        numbers = np.zeros(4)
        out: dict[str, Prediction] = {}
        for name, quantity, unit in QUANTITIES:
            predict(record[0], quantity, *kind, numbers)
            out[name] = Prediction(numbers[0] / unit, numbers[1] / unit, float(numbers[2]), int(numbers[3]))
        return out

    def as_json(self) -> dict[str, Json]:
        """Plain JSON, everything needed to build it again."""
        return {
            "schema_version": SCHEMA_VERSION,
            "aircraft": self.aircraft,
            "revision": self.revision,
            "reset_reason": self.reset_reason,
            "priors": {name: prior.model_dump() for name, prior in self.priors.items()},
            "evidence": [asdict(e) for e in self.evidence],
        }

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> Beliefs:
        """Inverse of as_json. Raises BeliefsError."""
        try:
            if data["schema_version"] != SCHEMA_VERSION:
                raise ValueError(f"schema version {data['schema_version']!r}")
            return Beliefs(
                aircraft=str(data["aircraft"]),
                priors={name: Prior.model_validate(data["priors"][name]) for name, _, _ in QUANTITIES},
                evidence=tuple(Evidence(**item) for item in data["evidence"]),
                revision=int(data["revision"]),
                reset_reason=data["reset_reason"],
            )
        except (KeyError, TypeError, ValueError) as error:
            raise BeliefsError(
                expected=f"stored beliefs of schema version {SCHEMA_VERSION}",
                got=f"something else ({error})",
                now="the beliefs were not loaded and nothing was changed",
            ) from error


def _kind_codes(orientation: str, direction: str, mode: str | None) -> tuple[int, int, int]:
    return (
        1 if orientation == "inverted" else 0,
        1 if direction == "left" else 0,
        MODE_NOT_KNOWN if mode is None else MODES.index(Mode(mode)),
    )
