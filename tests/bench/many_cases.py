"""A practice with very many cases: invented people and places, made in bulk.

Three quarters of the cases are old and have ended but for a few; of the newest quarter most are
under way. Case n has the same people and places in a small practice as in a large one.
"""

import datetime as dt
import json
from collections.abc import Iterable, Sequence
from itertools import count
from random import Random
from typing import Any
from uuid import uuid4

from django.core.management.color import no_style
from django.db import connection, models, transaction
from django.utils import timezone

from consult.models import Assignment, Client, Firm, Letter, Property, StoredFile, User
from mitigation.models import (
    Appointment,
    Case,
    CaseLetter,
    CaseVisit,
    CaseWord,
    Stage,
    WorkOrder,
)
from mitigation.models.words import words_of
from mitigation.services.search import index_cases
from surveys.models import (
    Calibration,
    Guideline,
    Instrument,
    Measurand,
    Reading,
    Room,
    Spot,
    Visit,
)
from surveys.models.names import folded
from surveys.services.bulk import insert_columns

FIRST = [
    "Ada",
    "Bruno",
    "Carla",
    "Dario",
    "Edda",
    "Falk",
    "Gesa",
    "Hanno",
    "Ida",
    "Jorin",
    "Kaja",
    "Lasse",
    "Maren",
    "Nils",
    "Oda",
    "Piet",
    "Rike",
    "Sven",
    "Tilda",
    "Uwe",
    "Vera",
    "Wim",
    "Yara",
    "Zeno",
]
BEGIN = [
    "Ahr",
    "Birk",
    "Dorn",
    "Eschen",
    "Feld",
    "Gruen",
    "Holt",
    "Iser",
    "Kalt",
    "Lind",
    "Moor",
    "Nord",
    "Ober",
    "Quell",
    "Reet",
    "Sand",
    "Torf",
    "Ulmen",
    "Wald",
    "Zirbel",
]
END = [
    "berg",
    "brook",
    "dorf",
    "eck",
    "feld",
    "garten",
    "hof",
    "kamp",
    "land",
    "moos",
    "ried",
    "see",
    "stein",
    "tal",
    "ufer",
    "winkel",
]
STREETS = [
    "Ufer",
    "Mühlen",
    "Garten",
    "Anger",
    "Deich",
    "Brunnen",
    "Heide",
    "Linden",
    "Schleusen",
    "Weiden",
]
WAYS = ["weg", "gasse", "ring", "steig"]
ROOMS = {
    "bedroom": ("bed head", "bed middle"),
    "nursery": ("cot",),
    "study": ("desk seat",),
    "living room": ("sofa seat", "reading chair"),
}
OPEN = [stage for stage in Stage if stage not in (Stage.CLOSED, Stage.DECLINED)]
MEASURED = set(Stage) - {Stage.ENQUIRY, Stage.BASELINE}
PROVED = {Stage.PROOF, Stage.CLOSED}
CHUNK = 10_000
IN_THIS_WEEK = 100  # cases with an appointment, in a practice of any size
PASSAGE = "The readings hold for the spots and hours that were measured. " * 20


class Table:
    """Rows of one model on their way into the database, with numbers of their own."""

    def __init__(self, model: type[models.Model]) -> None:
        self.model = model
        fields = [field for field in model._meta.concrete_fields if not field.primary_key]
        self.blank = {field.name: _stored(field, field.get_default()) for field in fields}
        self.rows: list[dict[str, Any]] = []
        self.next = count(1)

    def add(self, **given: Any) -> int:
        key = next(self.next)
        keys = {"uid": uuid4()} if "uid" in self.blank else {}
        self.rows.append({"id": key, **self.blank, **keys, **given})
        return key

    def flush(self) -> None:
        if self.rows:
            columns = {name: [row[name] for row in self.rows] for name in self.rows[0]}
            insert_columns(model=self.model, columns=columns)
        self.rows = []


def _stored(field: "models.Field[Any, Any]", value: Any) -> Any:
    if isinstance(field, models.DateTimeField):
        value = timezone.now()
    if isinstance(field, models.JSONField):
        return json.dumps(value)
    return field.get_db_prep_save(value, connection)


def fill(n: int) -> User:
    """`n` cases with all that hangs on them, and somebody of the office who looks at them."""
    office = User.objects.create_user("office@bench.example", name="Office", role="office")
    assessors = [
        User.objects.create_user(f"a{at}@bench.example", name=f"Assessor {at}", role="assessor")
        for at in range(4)
    ]
    with transaction.atomic():
        Practice(n, assessors).fill()
    sample = list(range(1, n + 1, max(1, n // 50)))
    before = CaseWord.objects.count()
    index_cases(cases=sample)  # the product finds nothing to change in what was made here
    assert CaseWord.objects.count() == before
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            models_used = (
                Client,
                Property,
                Case,
                Visit,
                Room,
                Spot,
                CaseWord,
                StoredFile,
                Letter,
                CaseVisit,
                CaseLetter,
                WorkOrder,
                Appointment,
            )
            for statement in _sequences(models_used):
                cursor.execute(statement)
            cursor.execute("VACUUM ANALYZE")  # what its own housekeeping does in time
    return office


def _sequences(used: Sequence[type[models.Model]]) -> Iterable[str]:
    return connection.ops.sequence_reset_sql(no_style(), used)


METERS = ("Meter G", "Probe M")


class Practice:
    """Makes the rows case by case, and hands them on in chunks."""

    def __init__(self, n: int, assessors: Sequence[User]) -> None:
        self.n = n
        self.measured: set[int] = set()  # the cases with readings
        self.now = timezone.now()
        self.today = timezone.localdate()
        self.assessors = assessors
        self.firms = [Firm.objects.create(name=f"Firm {at}").pk for at in range(4)]
        self.guideline = Guideline.objects.get(code="SBM-2015").pk
        self.calibrations = [
            Calibration.objects.create(
                instrument=Instrument.objects.create(name=name), quantity=quantity, unit=unit,
                gain_percent=6.0, resolution=0.1, certificate="K-1",
                calibrated_on=self.today - dt.timedelta(days=9_000),
            )
            for name, quantity, unit in (
                (METERS[0], "electric field", "V/m"), (METERS[1], "magnetic flux density", "nT"),
            )
        ]  # fmt: skip
        self.tables: dict[type[models.Model], Table] = {
            model: Table(model)
            for model in (
                Client, Property, Assignment, Room, Spot, Visit, Case, CaseVisit, Reading,
                StoredFile, Letter, CaseLetter, CaseWord, WorkOrder, Appointment,
            )
        }  # fmt: skip

    def fill(self) -> None:
        for number in range(1, self.n + 1):
            self._case(number, Random(number))
            if number % CHUNK == 0:
                self._flush()
        self._flush()

    def _flush(self) -> None:
        for table in self.tables.values():
            table.flush()

    def _add(self, model: type[models.Model], **given: Any) -> int:
        return self.tables[model].add(**given)

    def _case(self, number: int, dice: Random) -> None:
        name = f"{dice.choice(FIRST)} {dice.choice(FIRST)} {dice.choice(BEGIN)}{dice.choice(END)}"
        town = f"{dice.randrange(20_000, 99_999)} {dice.choice(BEGIN)}{dice.choice(END)}"
        street = f"{dice.choice(STREETS)}{dice.choice(WAYS)} {dice.randint(1, 120)}"
        address = f"{street}\n{town}"
        client = self._add(Client, name=name, address=address, language="de")
        home = self._add(Property, client=client, address=address, country="DE")
        self._add(Assignment, property=home, user=self.assessors[number % 4].pk)
        rooms = [room for room in ROOMS if room == "bedroom" or dice.random() < 0.7]
        spots = []
        for room in rooms:
            key = self._add(Room, property=home, name=room, folded=folded(room))
            spots += [
                self._add(Spot, room=key, name=spot, folded=folded(spot), use="sleeping")
                for spot in ROOMS[room]
            ]
        reference = f"EB-{2000 + number // 4000}-{number:05}"
        case, stage = self._opened(number, dice, home, reference)
        self._measured(case, stage, home, spots, dice)
        texts = [text for room in rooms for text in (room, *ROOMS[room])]
        texts += [reference, name, address, *(METERS if case in self.measured else ())]
        self._appointment(number, case)
        if stage in PROVED:
            self._letter(number, case, reference, client, home)
            texts.append(f"L-{number:06}")
        for word in sorted(words_of(*texts)):
            self._add(CaseWord, case=case, word=word)

    def _opened(self, number: int, dice: Random, home: int, reference: str) -> tuple[int, Stage]:
        age = (self.n - number) / self.n
        ended = dice.random() < (0.95 if age > 0.25 else 0.15)
        stage = dice.choice([Stage.CLOSED] * 4 + [Stage.DECLINED]) if ended else dice.choice(OPEN)
        opened = _moment(self.now - dt.timedelta(hours=2 * (self.n - number), minutes=5))
        due = None if ended else self.today + dt.timedelta(days=dice.randint(-60, 10))
        held = not ended and dice.random() < 0.05
        case = self._add(
            Case,
            reference=reference,
            property=home,
            guideline=self.guideline,
            stage=stage.value,
            stage_since=opened,
            opened_at=opened,
            due_on=due and str(due),
            on_hold_reason="The client is abroad" if held else "",
        )
        return case, stage

    def _measured(
        self, case: int, stage: Stage, home: int, spots: Sequence[int], dice: Random
    ) -> None:
        kinds = ["baseline"] * (stage in MEASURED) + ["follow-up"] * (stage in PROVED)
        planned = stage in OPEN and stage not in (Stage.FINDINGS, Stage.PROOF)
        for at, kind in enumerate([*kinds, *["follow-up"] * planned]):
            is_open = at == len(kinds)
            days = dice.randint(1, 14) if is_open else -dice.randint(20, 60) + 15 * at
            visit = self._add(
                Visit,
                property=home,
                kind=kind,
                label=f"{kind} {at + 1}",
                date=str(self.today + dt.timedelta(days=days)),
                assessor="Assessor 1",
                measured_by=self.assessors[1].pk,
                sealed_at=None if is_open else _moment(self.now),
            )
            self._add(CaseVisit, case=case, visit=visit)
            if not is_open:
                self.measured.add(case)
                self._readings(visit, spots[:3], dice, 1.0 if at == 0 else 0.1)

    def _readings(self, visit: int, spots: Sequence[int], dice: Random, share: float) -> None:
        electric, magnetic = self.calibrations
        for at, spot in enumerate(spots):
            for calibration, measurand, unit in (
                (electric, Measurand.ELECTRIC_FIELD_GROUND, "V/m"),
                (magnetic, Measurand.MAGNETIC_FLUX_DENSITY, "nT"),
            ):
                self._add(
                    Reading,
                    visit=visit,
                    position=2 * at + 2 + (calibration is magnetic),
                    spot=spot,
                    measurand=measurand.value,
                    instrument=calibration.instrument_id,
                    calibration=calibration.pk,
                    total=round(share * dice.uniform(5, 90), 1),
                    unit=unit,
                    state="as-used",
                )

    def _appointment(self, number: int, case: int) -> None:
        """Of the newest cases in this week, of the others long ago."""
        age = self.n - number
        monday = self.today - dt.timedelta(days=self.today.weekday())
        day = monday + dt.timedelta(days=number % 7)
        if age >= IN_THIS_WEEK:
            day = self.today - dt.timedelta(days=60 + age // 12)
        starts = timezone.make_aware(dt.datetime.combine(day, dt.time(8 + number % 8)))
        at = _moment(starts)
        order = self._add(
            WorkOrder,
            case=case,
            number=1,
            firm=self.firms[number % 4],
            state="sent",
            agreed_at=at,
            made_at=at,
            sent_at=at,
        )
        self._add(
            Appointment,
            order=order,
            side="office",
            minutes=60,
            state="agreed",
            proposed_at=at,
            proposed_name="Office",
            answered_at=at,
            starts_at=at,
            ends_at=_moment(starts + dt.timedelta(hours=1)),
        )

    def _letter(self, number: int, case: int, reference: str, client: int, home: int) -> None:
        content = f'{{"subject": "Met at 6 of 6 spots", "passage": "{PASSAGE}"}}'
        stored = self._add(
            StoredFile,
            file=f"letters/{number}.pdf",
            kind="application/pdf",
            size=1,
            sha256="0" * 64,
            stored_at=_moment(self.now),
        )
        letter = self._add(
            Letter,
            number=f"L-{number:06}",
            kind="outcome",
            case_reference=reference,
            client=client,
            property=home,
            content=content,
            content_sha256="0" * 64,
            language="de",
            paper="A4",
            template_version="1",
            issued_at=_moment(self.now),
            state="ready",
            stored=stored,
            sha256="0" * 64,
            rendered_at=_moment(self.now),
        )
        self._add(CaseLetter, case=case, letter=letter)


def _moment(moment: dt.datetime) -> str:
    """As either database takes it."""
    return str(connection.ops.adapt_datetimefield_value(moment))
