"""Reminders: before an appointment, after silence, a year after the outcome letter.

Each job looks whether it is still so. The key of its mail lets none go out twice, and who runs the
practice can switch each kind off.
"""

from typing import Any

from django.conf import settings
from django.db.models import Q
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, override

from consult.models import Letter, current_practice
from consult.services.jobs import Run
from consult.services.mail import name_of_practice, queue_mail
from mitigation.letters import outcome
from mitigation.models import ENDS, Appointment, Case, Stage, WorkOrder
from mitigation.services.appointment_files import readers_of, tell, words_of
from mitigation.services.appointments import ask_by_mail, is_over
from mitigation.services.work_orders import order_token

ASKED_AGAIN = gettext_noop("A question that waits: when can it be? Case %(case)s")


def remind_appointment(arguments: dict[str, Any], run: Run) -> None:
    """Tell firm and client the day before that it is tomorrow."""
    rows = Appointment.objects.agreed().for_list()
    row, now = rows.filter(pk=arguments["appointment"]).first(), timezone.now()
    if row is None or row.starts_at is None or row.starts_at <= now or _rests(row.order):
        return
    if not current_practice().reminds_of_appointments:
        return
    for reader in readers_of(row.order):
        side = "client" if reader.is_client else "firm"
        with override(reader.language):
            words = words_of(row, reader)
            body = (
                _(
                    "Good day %(name)s,\n\n%(firm)s comes to your home soon:\n\n%(when)s\n\n"
                    "Please make the panel and the places of work free. The power will be off for "
                    "a while. If something came in between, please call us.\n\n%(practice)s\n"
                )
                if reader.is_client
                else _(
                    "Good day %(name)s,\n\nthis appointment is near: work order %(number)s of case "
                    "%(case)s\n\n%(when)s\n\nIf something came in between, please call us.\n\n"
                    "%(practice)s\n"
                )
            )
            key = f"appointment-reminder:{row.pk}:{side}"
            subject = _("Soon: %(when)s (case %(case)s)") % words
            tell(row, reader, key=key, subject=subject, body=body % words)


def remind_order(arguments: dict[str, Any], run: Run) -> None:
    """Remind a firm of an order that it did not answer, with a link that holds."""
    orders = WorkOrder.objects.select_related("case__property", "firm", "letter")
    order = orders.filter(pk=arguments["order"], state=WorkOrder.State.SENT, taken_at=None).first()
    if order is None or not order.firm.email or _rests(order) or order.agreed_at is not None:
        return
    sheet = arguments["sheet"]
    if not order.content_sha256.startswith(sheet):  # another one went out, with its own reminder
        return
    answers = Q(side=Appointment.Side.FIRM) | Q(
        asked=Appointment.Asked.FIRM, answered_at__isnull=False
    )
    if order.appointments.filter(answers).exists() or not current_practice().reminds_of_silence:
        return
    key = f"order-reminder:{order.pk}:{sheet}"
    address = reverse("order_link", args=[order_token(order, key)])
    with override(order.firm.language):
        words = {
            "firm": order.firm.name,
            "number": order.number,
            "case": order.case.reference,
            "link": settings.SITE_URL.rstrip("/") + address,
            "practice": name_of_practice(),
        }
        queue_mail(
            key=key,
            letter=order.letter,
            to=order.firm.email,
            subject=_("Work order %(number)s of case %(case)s waits for an answer") % words,
            body=_(
                "Good day %(firm)s,\n\nwork order %(number)s of case %(case)s waits for your "
                "answer. You can read it, take it on or refuse it here:\n\n%(link)s\n\n"
                "%(practice)s\n"
            )
            % words,
        )


def remind_proposal(arguments: dict[str, Any], run: Run) -> None:
    """Ask once more for an answer to proposed times, as long as one of them is to come."""
    rows = Appointment.objects.open().for_list().prefetch_related("times")
    row = rows.filter(pk=arguments["appointment"]).first()
    if row is None or _rests(row.order) or is_over(row, timezone.now()):
        return
    if current_practice().reminds_of_silence:
        ask_by_mail(row, what="proposal-reminder", subject=ASKED_AGAIN)


def remind_measuring(arguments: dict[str, Any], run: Run) -> None:
    """Ask the client of a closed case whether to measure again, a year after its last outcome."""
    case = Case.objects.select_related("property__client").filter(pk=arguments["case"]).first()
    letter = Letter.objects.filter(pk=arguments["letter"], state=Letter.State.READY).first()
    if case is None or letter is None or not _is_closed_for_good(case, letter):
        return
    client = case.property.client
    if not client.email or not current_practice().reminds_of_measuring:
        return
    with override(client.language):
        words = {"name": client.name, "case": case.reference, "practice": name_of_practice()}
        queue_mail(
            key=f"measure-again:{case.pk}:{letter.pk}",
            client=client,
            letter=letter,
            to=client.email,
            subject=_("A year after your outcome letter (case %(case)s)") % words,
            body=_(
                "Good day %(name)s,\n\na year ago we sent you the outcome letter of case "
                "%(case)s. Since then something in your home may have changed: appliances, "
                "circuits, where you sleep. If you would like us to measure again, please answer "
                "this e-mail or call us.\n\nIf not, there is nothing to do, and we do not ask "
                "again.\n\n%(practice)s\n"
            )
            % words,
        )


def _rests(order: WorkOrder) -> bool:
    """Whether nobody is to be reminded of an order: it or its case is over, on hold or erased."""
    case = order.case
    is_over = order.state not in WorkOrder.AT_WORK or case.stage in ENDS
    return is_over or bool(case.on_hold_reason) or order.is_erased


def _is_closed_for_good(case: Case, letter: Letter) -> bool:
    """Whether the case was closed after this letter, its last outcome, and not reopened since."""
    if case.stage != Stage.CLOSED or case.on_hold_reason:
        return False
    letters = Letter.objects.filter(case_letter__case=case, kind=outcome.KIND)
    if letters.filter(issued_at__gt=letter.issued_at).exists():
        return False
    later = case.history.filter(history_date__gte=letter.issued_at).order_by("history_id")
    stages = list(later.values_list("stage", flat=True))
    closed = stages.index(Stage.CLOSED) if Stage.CLOSED in stages else 0
    return all(stage == Stage.CLOSED for stage in stages[closed:])
