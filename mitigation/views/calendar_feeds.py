"""One's own calendar feed: made, withdrawn, read by a calendar program without a log-in."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import override
from django.views.decorators.http import require_POST, require_safe

from consult.access import SignedInRequest, somebody_required
from consult.services.calendar_files import KIND
from mitigation.models import CalendarFeed
from mitigation.services.calendar_feeds import (
    feed_address,
    feed_file,
    make_feed,
    user_of_token,
    withdraw_feed,
)


@require_safe
@somebody_required
def own_calendar(request: SignedInRequest) -> HttpResponse:
    """The address of one's own feed, where there is one."""
    feed = CalendarFeed.objects.filter(user=request.user).first()
    context = {"feed": feed, "address": feed_address(feed) if feed else ""}
    return render(request, "mitigation/own_calendar.html", context)


@require_POST
@somebody_required
def own_calendar_act(request: SignedInRequest, act: str) -> HttpResponse:
    if act == "make":
        make_feed(user=request.user, now=timezone.now())
    else:
        withdraw_feed(user=request.user)
        messages.success(request, _("The address shows nothing any more."))
    return redirect("own_calendar")


@require_safe
def calendar_feed(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar of whoever made this address, as long as they may log in."""
    user = user_of_token(token)
    if user is None:
        response = HttpResponse(status=410, content_type="text/plain")
    else:
        with override(user.language):
            response = HttpResponse(feed_file(user, timezone.now()), content_type=KIND)
    response["Cache-Control"] = "private, no-store"
    response["X-Robots-Tag"] = "noindex"
    return response
