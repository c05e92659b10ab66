"""People, firms and the access log as lists and spreadsheets show them."""

from django.db.models import Count, QuerySet
from django.http import HttpRequest

from consult.models import AccessEvent, Firm, User
from consult.models.folding import with_words


def wanted_people(request: HttpRequest) -> QuerySet[User]:
    """Everybody with each word of the query in their name or e-mail."""
    people = User.objects.select_related("firm").order_by("-is_active", "name", "pk")
    return with_words(people, request.GET.get("q", ""), "name", "email")


def wanted_events(request: HttpRequest) -> QuerySet[AccessEvent]:
    """The events that the person may see and asked for."""
    events = AccessEvent.objects.visible_to(request.user).for_list()
    kind = request.GET.get("kind", "")
    return events.filter(kind=kind) if kind in AccessEvent.Kind.values else events


def all_firms() -> QuerySet[Firm]:
    """The firms, each with the number of its people."""
    return Firm.objects.annotate(n_people=Count("people")).order_by("name")
