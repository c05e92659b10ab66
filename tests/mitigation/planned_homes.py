"""Invented homes with a switching trial as case folders; what the meter showed is computed."""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
from django.utils import timezone

from mitigation.models import Case
from mitigation.planning.attributions import fit_of, nothing_kept
from mitigation.services.trial_fits import keep_fit, unsampled_trials
from surveys.intake import Upload
from tests.surveys.case_folders import as_zip

ANGLES = {"L1": 0.0, "L2": 2 * np.pi / 3, "L3": 4 * np.pi / 3}
SPLIT = {"L1": 0.0, "L2": np.pi}


def case_toml(reference: str, phases: int = 1) -> str:
    return f"""\
reference = "{reference}"

[client]
name = "Alwine Torhaus"
language = "en"

[property]
address = "Lindenhang 4, 24999 Neustrand"
country = "DE"
phases = {phases}

[assessment]
guideline = "SBM-2015"
placement_percent = 5
"""


INSTRUMENTS = """\
instrument,quantity,axes,unit,gain_percent,resolution,floor,ceiling,certificate,calibrated_on,due_on
Probe E,electric field,1,V/m,8,0.1,0.1,2000,C-17,2026-01-10,2027-01-10
Cube B,magnetic flux density,3,nT,6,1,,,C-18,2026-01-10,2027-01-10
"""
VISITS = """\
visit,kind,date,assessor,humidity_percent,supply_voltage
before,baseline,2026-03-14,Jo Feld,48,230
"""
READINGS_HEAD = (
    "visit,room,spot,use,quantity,reference,ground_point,instrument,x,y,z,total,unit,state,"
    "circuits_off"
)


def shown(number: float) -> str:
    """As a display of one decimal shows it."""
    return "<0.1" if number < 0.05 else f"{number:.1f}"


def field_rows(
    spot: str,
    amplitude: Mapping[str, Sequence[float]],
    states: Iterable[Sequence[str]],
    *,
    outside: Sequence[float] = (0.0, 0.0, 0.0),
    angle: Mapping[str, float] | None = None,
    as_used: bool = True,
    room: str = "Bedroom",
    use: str = "sleeping",
) -> list[str]:
    """Rows of a potential-free field of three axes: as used, then a trial over `states`.

    `amplitude` gives x, y, z of each source [V/m], "*" in a state takes all of them off.
    """
    angle = angle or dict.fromkeys(amplitude, 0.0)
    rows = []
    everything: list[tuple[str, Sequence[str]]] = [("as-used", ())] if as_used else []
    for state, off in [*everything, *(("trial", off) for off in states)]:
        on = [name for name in amplitude if name not in off and "*" not in off]
        axes = [
            abs(
                outside[axis] + sum(amplitude[name][axis] * np.exp(1j * angle[name]) for name in on)
            )
            for axis in range(3)
        ]
        cells = [shown(value) for value in axes]
        rows.append(
            f"before,{room},{spot},{use},electric field,potential-free,,Probe E,"
            f"{','.join(cells)},,V/m,{state},{'; '.join(off)}"
        )
    return rows


def every_state(names: Sequence[str]) -> list[tuple[str, ...]]:
    """All on, each off, all off, each alone, all on again."""
    each_alone = [tuple(other for other in names if other != name) for name in names]
    return [(), *((name,) for name in names), tuple(names), *each_alone, ()]


def folder(
    rows: Sequence[str],
    *,
    remedies: str = "",
    circuits: str = "",
    appliances: str = "",
    reference: str = "EB-P1",
    phases: int = 1,
) -> dict[str, bytes]:
    """The files of a case folder."""
    files = {
        "case.toml": case_toml(reference, phases),
        "instruments.csv": INSTRUMENTS,
        "visits.csv": VISITS,
        "readings.csv": "\n".join([READINGS_HEAD, *rows]) + "\n",
        "circuits.csv": circuits,
        "appliances.csv": appliances,
        "remedies.csv": remedies,
    }
    return {name: text.encode() for name, text in files.items() if text}


def upload(files: dict[str, bytes]) -> Upload:
    return as_zip(files)


def written(files: dict[str, bytes], to: Path) -> Path:
    to.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (to / name).write_bytes(data)
    return to


# A bed at which three circuits of one phase add up: 24, 12 and 6 V/m on the first axis.
THREE = {"F1": (24.0, 6.0, 3.0), "F2": (12.0, 3.0, 1.0), "F3": (6.0, 1.0, 0.5)}
REMEDIES = """\
item,remedy,circuits,appliances,room,spots,effect_db,spread_db,works_percent,cost,chosen,state
R1,demand-switch,F1,,,,,,,300,no,
R2,demand-switch,F2,,,,,,,250,no,
R3,demand-switch,F3,,,,,,,200,no,
R4,shielded-surface,,,Bedroom,,,,,900,no,
"""


def three_circuits(remedies: str = REMEDIES, reference: str = "EB-P1") -> dict[str, bytes]:
    rows = field_rows("bed head", THREE, every_state(list(THREE)), outside=(0.3, 0.1, 0.1))
    return folder(rows, remedies=remedies, reference=reference)


def opposed_circuits(reference: str = "EB-P5") -> dict[str, bytes]:
    """Split phase: at the head two circuits cancel, at the foot one makes the most.

    The magnetic field was read with F1 off and with F2 off; at the desk nothing was tried.
    """
    angle = {"F1": SPLIT["L1"], "F2": SPLIT["L2"], "F3": SPLIT["L1"]}
    names = list(angle)
    head = {"F1": (24.0, 3.0, 1.0), "F2": (20.0, 1.0, 2.0), "F3": (2.0, 0.5, 0.2)}
    foot = {"F1": (3.0, 1.0, 0.5), "F2": (0.8, 0.2, 0.1), "F3": (0.4, 0.3, 0.1)}
    desk = {"F1": (2.0, 1.0, 1.0)}
    flux = "before,Bedroom,bed head,sleeping,magnetic flux density,,,Cube B,,,,{},nT,{},{}"
    rows = [
        *field_rows("bed head", head, every_state(names), angle=angle, outside=(0.3, 0.1, 0.1)),
        *field_rows("bed foot", foot, every_state(names), angle=angle, outside=(0.2, 0.1, 0.1)),
        *field_rows("desk", desk, [], angle=angle, room="Study", use="work"),
        *(flux.format(*row) for row in ((220, "as-used", ""), (220, "trial", ""),
                                        (60, "trial", "F1"), (200, "trial", "F2"))),
    ]  # fmt: skip
    circuits = (
        "circuit,label,phase\nF1,bedroom sockets,L1\nF2,bedroom lights,L2\nF3,hall,L1\n"
        "F4,kitchen,L2\n"
    )
    remedies = (
        "item,remedy,circuits,room,cost,chosen\nR1,demand-switch,F1,,300,yes\n"
        "R2,demand-switch,F2,,280,no\nR3,demand-switch,F4,Bedroom,250,no\n"
        "R4,bonded-shield,,Bedroom,900,no\nR5,wiring-correction,F1;F2,,400,no\n"
    )
    return folder(rows, circuits=circuits, remedies=remedies, reference=reference, phases=2)


def sampled(case: Case) -> Case:
    """The case with what its trials say, as the job keeps it."""
    for unsampled in unsampled_trials(case):
        fit = fit_of(unsampled.trial, unsampled.sources, nothing_kept)
        keep_fit(trial=unsampled.trial, digest=unsampled.digest, fit=fit, now=timezone.now())
    return case


def powerset(names: Sequence[str]) -> list[tuple[str, ...]]:
    sizes = range(len(names) + 1)
    return [subset for size in sizes for subset in itertools.combinations(names, size)]
