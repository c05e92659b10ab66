"""What remedies achieved over the homes of the practice, from kept rows alone."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from mitigation.calc.evidence import FEWEST_HOMES, Pooled, pooled
from mitigation.calc.promises import Promises, kept_promises, reliability
from mitigation.models import KeptEffect, KeptPromise, Remedy
from surveys.calc.arrays import none_if_nan

DB_PER_NEPER = 20.0 / math.log(10.0)
Z95 = 1.959964
OFFERED_FROM = 5
"""So many homes are asked before a mean is offered as effect, or shown to clients."""


@dataclass(frozen=True)
class Home:
    """What one case says of a kind."""

    case: int
    effect: float
    variance: float
    n_rows: int


@dataclass
class Achievement:
    """Everything that is known of one kind in one group of measurands."""

    remedy: str
    group: str
    homes: list[Home] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)

    def pooled(self) -> Pooled:
        """The mean over its homes with its intervals; NaN where they are too few."""
        return pooled(
            np.array([home.effect for home in self.homes], dtype=np.float64),
            np.array([home.variance for home in self.homes], dtype=np.float64),
        )

    @property
    def has_mean(self) -> bool:
        return len(self.homes) >= FEWEST_HOMES

    def as_json(self) -> dict[str, Any]:
        """Its figures; null where the homes are too few."""
        over = self.pooled()
        return {
            "remedy": self.remedy,
            "group": self.group,
            "homes": over.homes,
            "mean_ln": none_if_nan(over.mean),
            "se": none_if_nan(over.se),
            "low": none_if_nan(over.low),
            "high": none_if_nan(over.high),
            "next_low": none_if_nan(over.next_low),
            "next_high": none_if_nan(over.next_high),
            "tau2": none_if_nan(over.tau2),
            "percent": none_if_nan(percent(over.mean)),
            "db": none_if_nan(decibels(over.mean)),
            "left_out": dict(sorted(self.left_out.items())),
        }


def percent(mean_ln: float) -> float:
    """How much of the field is gone at a spot. [%]"""
    return 100.0 * (1.0 - math.exp(mean_ln))


def decibels(mean_ln: float) -> float:
    """The same as an effect. [dB]"""
    return -DB_PER_NEPER * mean_ln


@dataclass(frozen=True)
class MeasuredEffect:
    """What homes say of a kind on spots, as an effect that an item may be given. [dB]"""

    group: str
    homes: int
    effect_db: float
    spread_db: float


def measured_effects(remedy: Remedy) -> list[MeasuredEffect]:
    """What may be offered beside the assumption of a kind: one query, none for another kind.

    Only of kinds on spots: what happened at a spot is not what a remedy does to a source. The
    interval of the next home is taken for that of a normal distribution, as an item's effect is.
    """
    if remedy.acts_on != Remedy.ActsOn.SPOTS or remedy.effect_db is None:
        return []
    rows = KeptEffect.objects.with_figure().filter(remedy=remedy.key).order_by("case")
    effects = []
    for kind in achievements(rows):
        if len(kind.homes) < OFFERED_FROM:
            continue
        over = kind.pooled()
        spread = DB_PER_NEPER * (over.next_high - over.next_low) / (2.0 * Z95)
        effects.append(
            MeasuredEffect(kind.group, over.homes, round(decibels(over.mean), 1), round(spread, 1))
        )
    return effects


def achievements(rows: Iterable[KeptEffect]) -> list[Achievement]:
    """Kept rows by kind and group, in the order of their keys; homes in the order of cases."""
    kinds: dict[tuple[str, str], Achievement] = {}
    for row in rows:
        kind = kinds.setdefault((row.remedy, row.group), Achievement(row.remedy, row.group))
        kind.left_out.update(row.left_out)
        if row.effect is not None and row.variance is not None:
            kind.homes.append(Home(row.case_id, row.effect, row.variance, row.n_rows))
    return [kinds[key] for key in sorted(kinds)]


@dataclass(frozen=True)
class Kept:
    """How all predictions did, and in five classes of probability."""

    over: Promises
    classes: tuple[tuple[int, float, float], ...]  # rows, mean probability, share that was met


def promises(rows: Iterable[KeptPromise]) -> Kept:
    """Kept rows together."""
    figures = [(row.inside, row.probability, row.met, row.ln_ratio) for row in rows]
    inside, probability, met, ln_ratio = np.array(figures, dtype=np.float64).reshape(-1, 4).T
    met_at_all = met > 0.5
    classes = zip(*reliability(probability, met_at_all), strict=True)
    return Kept(
        kept_promises(inside > 0.5, probability, met_at_all, ln_ratio),
        tuple((int(n), float(mean), float(share)) for n, mean, share in classes),
    )


def evidence_json() -> Mapping[str, Any]:
    """Evidence and promises of the practice, numbers unrounded."""
    over = promises(KeptPromise.objects.order_by("case", "prediction")).over
    kinds = achievements(KeptEffect.objects.order_by("case"))
    return {
        "remedies": [kind.as_json() for kind in kinds],
        "promises": {
            "rows": over.rows,
            "inside": none_if_nan(over.inside),
            "inside_low": none_if_nan(over.inside_low),
            "inside_high": none_if_nan(over.inside_high),
            "brier": none_if_nan(over.brier),
            "mean_ln": none_if_nan(over.mean_ln),
        },
    }
