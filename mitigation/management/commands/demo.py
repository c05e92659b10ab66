"""`make demo`: a small invented practice, its letters made as in life, and the site."""

import signal
import sys
from argparse import ArgumentParser
from collections.abc import Mapping
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.management import BaseCommand, CommandError, call_command
from django.db import connections
from django.utils import timezone

from consult.calc.rounding import as_given, rounded
from consult.management.processes import ServiceError, finish_letter, private_services
from consult.models import Letter, User
from mitigation.comparison import compare
from mitigation.letters import outcome
from mitigation.management import demo_practice
from mitigation.management.demo_finished import finish_home, read_finished
from mitigation.management.demo_practice import DemoPractice
from mitigation.management.demo_works import order_works
from mitigation.management.outcome_table import outcome_table
from mitigation.models import Case
from mitigation.services.evidence import keep_stale
from mitigation.services.imports import import_case_folder
from mitigation.services.letters import issue_case_letter
from surveys.letters import survey_report
from surveys.models import Measurand, Visit


class Command(BaseCommand):
    help = (
        "Load the demo practice, issue its letters through a worker, print what came out, and "
        "serve the site on http://localhost:8000. Run again, it keeps what is there."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--no-serve", action="store_true", help="end before serving")

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.ONE_MACHINE:
            raise CommandError(
                "The demo's log-ins have a password that everybody knows, so it runs on one "
                "machine only: unset DATABASE_URL, REDIS_URL and ALLOWED_HOSTS."
            )
        previous = signal.signal(signal.SIGTERM, _end)
        try:
            self._prepare()
        except KeyboardInterrupt:
            sys.exit(130)
        finally:
            signal.signal(signal.SIGTERM, previous)
        if not options["no_serve"]:
            connections.close_all()
            call_command("serve", port=options["port"], stdout=self.stdout)

    def _prepare(self) -> None:
        call_command("migrate", interactive=False, verbosity=0)
        demo = demo_practice.read_practice()
        strangers = User.objects.exclude(email__in=demo.emails())
        if strangers.exists() and not User.objects.filter(email__in=demo.emails()).exists():
            raise CommandError(
                "This installation belongs to a practice already; the demo would add log-ins with "
                "a known password. Give it a folder of its own: EBBMARK_VAR=/some/folder make demo"
            )
        self._say("Loading the demo practice ...")
        demo_practice.settle(demo)
        self.office = User.objects.get(email__in=demo.emails(), role=User.Role.OFFICE)
        cases = self._import(demo)
        letters = {case.pk: letter for case in cases if (letter := self._letter_of(case))}
        self._finish([*letters.values(), *self._finish_homes()])
        self._offer(cases, demo)
        for case, scene in zip(cases, demo.cases, strict=True):
            demo_practice.take_on(case, scene, self.office, timezone.now())
        keep_stale(now=timezone.now())
        for enquiry in demo.enquiries:
            demo_practice.open_enquiry(enquiry, self.office, timezone.now())
        for case in cases:
            self._show(case, letters.get(case.pk))
        self._show_log_ins(demo)

    def _import(self, demo: DemoPractice) -> list[Case]:
        """Every folder by the same way in as a user's; the same folder again changes nothing."""
        cases = []
        for scene in demo.cases:
            result = import_case_folder(source=scene.folder, by=self.office, now=timezone.now())
            demo_practice.attach_people(result.case, scene)
            demo_practice.enter_sources(result.case, scene, self.office)
            cases.append(result.case)
        return cases

    def _offer(self, cases: list[Case], demo: DemoPractice) -> None:
        """The plans of the demo with their letters, and the answers that came."""
        pairs = list(zip(cases, demo.cases, strict=True))
        plans = [
            (demo_practice.offer_to_client(case, scene, self.office, timezone.now()), scene)
            for case, scene in pairs
        ]
        self._finish([plan.letter for plan, _scene in plans if plan and plan.letter])
        for plan, scene in plans:
            if plan is not None:
                demo_practice.answer_for_client(plan, scene, timezone.now())
        orders = [
            order_works(case, scene.order, self.office, timezone.now())
            for case, scene in pairs
            if scene.order is not None
        ]
        self._finish([order.letter for order in orders if order and order.letter])

    def _finish_homes(self) -> list[Letter]:
        """Small homes that came all the way, so that evidence and promises say something."""
        homes = read_finished()
        return [letter for home in homes for letter in finish_home(home, self.office)]

    def _letter_of(self, case: Case) -> Letter | None:
        """What a case is due: the proof, or the report where only a baseline is there."""
        kinds = _measured(case)
        if Visit.Kind.BASELINE not in kinds:
            return None
        proved = Visit.Kind.FOLLOW_UP in kinds
        kind = outcome.KIND if proved else survey_report.KIND
        issued = Letter.objects.filter(case_letter__case=case, kind=kind).first()
        if issued is not None:
            return issued
        return issue_case_letter(kind=kind, case=case, by=self.office, now=timezone.now())

    def _finish(self, letters: list[Letter]) -> None:
        """Let a real worker over a real Redis make what is not made yet."""
        waiting = [letter for letter in letters if letter.state != Letter.State.READY]
        if not waiting:
            return
        self._say(f"{len(waiting)} letters are queued; a worker makes them ...")
        try:
            with private_services(
                concurrency=2,
                environment={"JOB_SWEEP_S": "0.2"},
                own_redis=not settings.REDIS_URL,
            ):
                for letter in waiting:
                    finish_letter(letter)
        except ServiceError as error:
            raise CommandError(str(error)) from error
        for letter in waiting:
            if letter.state != Letter.State.READY:
                raise CommandError(
                    f"Letter {letter.number} is {letter.state}: {letter.failure or 'no reason yet'}"
                )

    def _show(self, case: Case, letter: Letter | None) -> None:
        home = case.property
        heading = f"Case {case.reference}, {home.client.name}, {home}"
        self._say(f"\n{heading}\n{'=' * len(heading)}")
        kinds = _measured(case)
        if Visit.Kind.FOLLOW_UP in kinds:
            self._say(outcome_table(compare(case).as_json()))
        elif Visit.Kind.BASELINE in kinds:
            self._say(_findings(compare(case).as_json()))
        else:
            self._say("Nothing has been measured yet.")
        plan = case.plans.select_related("letter").first()
        letters = [letter, plan.letter if plan else None]
        for issued in [row for row in letters if row is not None]:
            path = default_storage.path(issued.file_key())
            self._say(f"{issued.get_kind_display()} {issued.number}: {path}")

    def _show_log_ins(self, demo: DemoPractice) -> None:
        self._say(f"\nLog-ins of the demo, all with the password {demo_practice.PASSWORD!r}:")
        for person in demo.people:
            self._say(f"  {person['role']:<12} {person['email']:<28} {person['name']}")
        self._say("")

    def _say(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()


def _measured(case: Case) -> set[str]:
    """The kinds of visits that are done; a planned one has nothing to show."""
    return set(case.visits.filter(sealed_at__isnull=False).values_list("kind", flat=True))


def _findings(outcome: Mapping[str, Any]) -> str:
    """What a baseline alone says: value, band, and the limit of the target."""
    lines = ["Only the baseline has been measured:", ""]
    for spot in outcome["spots"]:
        before, limit = spot["before"], as_given(spot["target"]["limit"])
        digits = rounded(before["value"], 2 * before["u"])
        value = f"{before['qualifier']} {digits.value} ± {digits.uncertainty}".strip()
        name = f"{spot['room']}, {spot['spot']}"
        lines.append(
            f"{name:<26}  {Measurand(spot['measurand']).short:<19}  {value:>12} {spot['unit']:<4}  "
            f"band {before['band']}  (limit of the target {limit})"
        )
    return "\n".join(lines)


def _end(number: int, frame: object) -> None:
    """TERM while letters are made: leave by the way that ends the worker and its Redis."""
    sys.exit(128 + number)
