"""Visits as the list and its spreadsheet show them."""

from django.db.models import QuerySet
from django.http import HttpRequest

from consult.models.folding import with_words
from surveys.models import Visit


def wanted_visits(request: HttpRequest) -> QuerySet[Visit]:
    """The visits that the person may see and asked for, the latest first."""
    visits = Visit.objects.visible_to(request.user).select_related("property__client").for_list()
    state = request.GET.get("state", "")
    if state in ("open", "sealed"):
        visits = visits.filter(sealed_at__isnull=state == "open")
    where = ("label", "property__address", "property__client__name")
    visits = with_words(visits, request.GET.get("q", ""), *where)
    return visits.order_by("-date", "-pk")
