"""What the page of an offered plan shows, to its client, to the office, and behind a link."""

from datetime import datetime
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import ValidationError
from django.utils.safestring import SafeString, mark_safe

from consult.letters.charts import NARROW, PictureWords
from consult.letters.html import chart_from
from consult.letters.picture import before_after_svg
from consult.models import User
from consult.services.sending import letter_of_token
from mitigation.forms.offers import DecisionForm, QuestionForm, answer_form, decision_forms
from mitigation.models import Plan
from mitigation.services.decisions import refuse_closed

FONT = "Source Sans 3"


def plan_of_token(token: str) -> Plan | None:
    """The plan of the letter that a link shows; None where the link shows nothing any more."""
    letter = letter_of_token(token)
    if letter is None:
        return None
    rows = Plan.objects.select_related("case__property__client", "decision", "letter")
    return rows.filter(letter=letter).first()


def offer_context(
    plan: Plan,
    user: User | AnonymousUser,
    *,
    token: str,
    now: datetime,
    decision_form: DecisionForm | None = None,
    question_form: QuestionForm | None = None,
) -> dict[str, Any]:
    """The frozen words, with forms for whoever may answer while the version is open."""
    decision = plan.decision if hasattr(plan, "decision") else None
    if plan.is_erased:
        return {"plan": plan, "case": plan.case, "decision": decision}
    client = plan.case.property.client
    is_client = bool(token) or (user.is_authenticated and user.role == User.Role.CLIENT)
    is_office = user.is_authenticated and user.role == User.Role.OFFICE and not token
    blank = {"shown": plan.content_sha256, "name": client.name, "is_of_client": is_client}
    options = decision_forms(plan.content, decision_form, **blank)
    refusal = _refusal(decision_form, **blank)
    closed = "" if decision else _why_closed(plan, now)
    newer = plan.case.plans.filter(number__gt=plan.number, replaced_at=None).first()
    return {
        "plan": plan,
        "content": plan.content,
        "case": plan.case,
        "decision": decision,
        "decided_items": _items_of(plan),
        "closed": closed,
        "newer": newer,
        "token": token,
        "is_client": is_client,
        "may_answer": (is_client or is_office) and not decision and not closed,
        "options": [row | {"pictures": pictures_of(plan, row["option"])} for row in options],
        "refusal_form": refusal,
        "unplaced": _errors_of_none(decision_form, [refusal, *(row["form"] for row in options)]),
        "question_form": question_form or QuestionForm(initial={"name": client.name}),
    }


def _why_closed(plan: Plan, now: datetime) -> str:
    try:
        refuse_closed(plan, now)
    except ValidationError as error:
        return " ".join(error.messages)
    return ""


def _items_of(plan: Plan) -> list[dict[str, Any]]:
    """The items that were accepted."""
    if not hasattr(plan, "decision"):
        return []
    accepted = plan.decision.items
    return [item for item in plan.items_of(plan.decision.option) if item["name"] in accepted]


def _refusal(sent: DecisionForm | None, **blank: Any) -> DecisionForm:
    if sent is not None and sent.data.get("answer") == "declined":
        sent.auto_id = "declined-%s"
        return sent
    return answer_form("declined", **blank)


def _errors_of_none(sent: DecisionForm | None, shown: list[DecisionForm]) -> str:
    """What is wrong with an answer to an option that the plan does not have."""
    return "" if sent is None or any(sent is form for form in shown) else str(sent.errors)


def pictures_of(plan: Plan, option: dict[str, Any]) -> list[tuple[SafeString, SafeString]]:
    """The charts of an option, names beside the scale and above it."""
    words = PictureWords(**plan.content["picture_words"])
    drawn = []
    for data in option["charts"]:
        chart = chart_from(data)
        wide = before_after_svg(chart, words, font=FONT)
        narrow = before_after_svg(chart, words, font=FONT, layout=NARROW)
        drawn.append((mark_safe(wide), mark_safe(narrow)))  # the picture escapes every text
    return drawn
