"""Homes of any number of spots as case folders, and the letter of each."""

from itertools import chain, product, starmap
from pathlib import Path
from typing import Any

from tests.bench.imports import write_folder

SPOTS_OF_A_ROOM = 4
READINGS = 8  # of a spot: two quantities at two visits, each read twice


def write_home(folder: Path, spots: int) -> None:
    """The fields fall at two spots of three, the magnetic ones hardly; a third rises a little."""
    places = product((1, 2), range(spots), (0, 1))
    write_folder(folder, chain.from_iterable(starmap(_readings, places)))


def _readings(visit: int, at: int, again: int) -> list[list[Any]]:
    use = "sleeping" if at % SPOTS_OF_A_ROOM < 2 else "work"
    place = [visit, f"Room {at // SPOTS_OF_A_ROOM + 1}", f"Spot {at % SPOTS_OF_A_ROOM + 1}", use]
    electric = 20.0 + at * 7 % 60 + again
    magnetic = 60.0 + at * 11 % 300 + again
    if visit == 2:
        electric *= 0.05 if at % 3 else 1.1
        magnetic *= 0.9
    end = ["as-used", f"{9 + at % 8:02d}:{at % 60:02d}", "fridge"]
    field = ["electric field", "ground", f"Point {at % 3}", "Meter G"]
    flux = ["magnetic flux density", "", "", "Probe M"]
    return [
        [*place, *field, f"{electric:.1f}", "", "", "V/m", *end],
        [*place, *flux, *(f"{magnetic * share:.0f}" for share in (0.6, 0.5, 0.4)), "nT", *end],
    ]
