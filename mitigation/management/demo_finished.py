"""The finished homes of the demo: surveyed, planned, decided on, carried out and measured again.

`fixtures/demo/finished-homes.csv` has one row for each; `off` is the field with the circuit off.
Each goes the way of a user's case: a folder with the baseline, an offer, the client's answer, what
the firm did, and a folder with the follow-up.
"""

import csv
import io
import zipfile
from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any

from django.utils import timezone

from consult.models import Assignment, Letter, User
from mitigation.letters import outcome
from mitigation.management.demo_practice import FOLDER
from mitigation.models import Case, Decision, PlanItem, Stage
from mitigation.services.cases import go_on, move_case
from mitigation.services.decisions import decide
from mitigation.services.further_visits import add_further_visits
from mitigation.services.imports import import_case_folder
from mitigation.services.letters import issue_case_letter
from mitigation.services.offers import offer_plan
from mitigation.services.plan_items import finish_item
from mitigation.services.trial_fits import sample_now
from surveys.intake import Upload

COSTS = {"demand-switch": 390, "bonded-shield": 1250}
SUPPLY = {"DE": (230, 50), "US": (120, 60)}
READING = "visit,room,spot,use,quantity,reference,instrument,total,unit,state,circuits_off"
Home = Mapping[str, str]


def read_finished() -> list[Home]:
    """The rows of the table."""
    text = (FOLDER / "finished-homes.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(io.StringIO(text)))


def finish_home(home: Home, office: User) -> list[Letter]:
    """Take a home all the way, each step on its day; none of it where its case is there already."""
    if Case.objects.filter(reference=home["reference"]).exists():
        return []
    before = _folder(home, with_follow_up=False)
    case = import_case_folder(source=before, by=office, now=_at(home["baseline"])).case
    assessor = User.objects.get(name=home["assessor"])
    Assignment.objects.get_or_create(property=case.property, user=assessor)
    sample_now(case)
    plan = offer_plan(
        case=case,
        by=office,
        now=_at(home["offered"]),
        options=[list(case.items.order_by("position").values_list("name", flat=True))],
        send=False,
    )
    decide(
        plan=plan,
        answer=Decision.Answer.ACCEPTED,
        option="A",
        shown_sha256=plan.content_sha256,
        name=home["client"],
        way=Decision.Way.LINK,
        now=_at(home["decided"]),
    )
    _carry_out(case, home, office)
    proved = _prove(case, home, office)
    return [letter for letter in (plan.letter, proved) if letter is not None]


def _carry_out(case: Case, home: Home, office: User) -> None:
    for item in case.items.all():
        finish_item(
            item=item,
            by=office,
            state=PlanItem.State.DONE,
            done_on=date.fromisoformat(home["done_on"]),
            done_by=home["firm"],
        )


def _prove(case: Case, home: Home, office: User) -> Letter:
    """The follow-up with its letter; the case is closed."""
    now = _at(home["follow_up"])
    add_further_visits(source=_folder(home, with_follow_up=True), into=case, by=office, now=now)
    go_on(case=Case.objects.get(pk=case.pk), by=office, now=now)
    letter = issue_case_letter(kind=outcome.KIND, case=case, by=office, now=now)
    move_case(case=Case.objects.get(pk=case.pk), to=Stage.CLOSED, by=office, now=now)
    return letter


def _at(day: str) -> datetime:
    """The morning of a day, by the clock of the practice."""
    return timezone.make_aware(datetime.combine(date.fromisoformat(day), time(10)))


def _folder(home: Home, *, with_follow_up: bool) -> Upload:
    """The case folder of a home, as an assessor would bring it."""
    visits = ["visit,kind,date,assessor,humidity_percent,supply_voltage",
              _visit(home, "Baseline", "baseline", home["baseline"])]  # fmt: skip
    readings = [READING, *_baseline(home)]
    if with_follow_up:
        visits.append(_visit(home, "Follow-up", "follow-up", home["follow_up"]))
        readings.append(_reading(home, "Follow-up", home["after"], "as-used"))
    files = {
        "case.toml": _head(home),
        "instruments.csv": (FOLDER / "finished-homes-instruments.csv").read_text("utf-8"),
        "visits.csv": "\n".join(visits) + "\n",
        "readings.csv": "\n".join(readings) + "\n",
        "remedies.csv": "\n".join(_remedies(home)) + "\n",
    }
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as archive:
        for name, text in files.items():
            archive.writestr(zipfile.ZipInfo(name), text)
    return Upload(f"{home['reference']}.zip", data.getvalue())


def _head(home: Home) -> str:
    voltage, frequency = SUPPLY[home["country"]]
    address = home["address"].replace(", ", "\\n", 1)
    return (
        f'reference = "{home["reference"]}"\n\n[client]\nname = "{home["client"]}"\n'
        f'language = "{home["language"]}"\n\n[property]\naddress = "{address}"\n'
        f'country = "{home["country"]}"\nsupply_voltage = {voltage}\nfrequency = {frequency}\n\n'
        '[assessment]\nguideline = "SBM-2015"\ntarget = 2\nplacement_percent = 5\n'
    )


def _visit(home: Home, name: str, kind: str, day: str) -> str:
    return f"{name},{kind},{day},{home['assessor']},48,{SUPPLY[home['country']][0]}"


def _baseline(home: Home) -> list[str]:
    """The finding and, where an item takes a circuit off, a trial of it: all on first and last."""
    before = home["before"]
    rows = [_reading(home, "Baseline", before, "as-used")]
    for circuit in (circuit for _kind, circuit in _items(home) if circuit):
        rows += [
            _reading(home, "Baseline", before, "trial"),
            _reading(home, "Baseline", home["off"], "trial", circuit),
            _reading(home, "Baseline", before, "trial"),
        ]
    return rows


def _reading(home: Home, visit: str, value: str, state: str, off: str = "") -> str:
    return (
        f"{visit},{home['room']},{home['spot']},sleeping,electric field,potential-free,Probe P1,"
        f"{value},V/m,{state},{off}"
    )


def _items(home: Home) -> list[tuple[str, str]]:
    """Kind and circuit of each item."""
    parts = (item.strip().partition(" ") for item in home["items"].split(";"))
    return [(kind, circuit) for kind, _space, circuit in parts]


def _remedies(home: Home) -> list[str]:
    rows: list[Any] = ["item,remedy,circuits,room,cost,chosen"]
    for at, (kind, circuit) in enumerate(_items(home), start=1):
        room = "" if circuit else home["room"]
        rows.append(f"R{at},{kind},{circuit},{room},{COSTS[kind]},yes")
    return rows
