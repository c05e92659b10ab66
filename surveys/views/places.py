"""Rooms and spots under another name."""

from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from consult.access import SignedInRequest, role_required
from consult.models import Property
from consult.services.changes import version_of
from surveys.forms.places import RoomForm, SpotChangeForm
from surveys.models import Room, Spot
from surveys.pages.places import appliances_of, panels_of, rooms_of
from surveys.services import places as services

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@role_required("office", "assessor")
def place_list(request: SignedInRequest, pk: int) -> HttpResponse:
    """The rooms and spots of a home, its panels with their circuits, its appliances."""
    homes = Property.objects.visible_to(request.user).select_related("client")
    home = get_object_or_404(homes, pk=pk)
    context = {
        "home": home,
        "rooms": rooms_of(home),
        "panels": panels_of(home),
        "appliances": appliances_of(home),
    }
    return render(request, "surveys/place_list.html", context)


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def room_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    rooms = Room.objects.visible_to(request.user).select_related("property__client")
    room = get_object_or_404(rooms, pk=pk)
    initial = {"name": room.name, "version": version_of(room)}
    form = RoomForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            services.rename_room(room=room, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return redirect("place_list", pk=room.property_id)
    return _form_page(request, room, form, room.property)


@require_http_methods(FORM_METHODS)
@role_required("office", "assessor")
def spot_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    spots = Spot.objects.visible_to(request.user).select_related("room__property__client")
    spot = get_object_or_404(spots, pk=pk)
    initial = {"name": spot.name, "use": spot.use, "version": version_of(spot)}
    form = SpotChangeForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            services.change_spot(spot=spot, by=request.user, **form.cleaned_data)
        except ValidationError as error:
            form.blame(error)
        else:
            return redirect("place_list", pk=spot.room.property_id)
    return _form_page(request, spot, form, spot.room.property)


def _form_page(
    request: HttpRequest, place: Room | Spot, form: RoomForm, home: Property
) -> HttpResponse:
    history: Any = place.history
    context = {
        "place": place,
        "form": form,
        "home": home,
        "history": history.select_related("history_user"),
    }
    status = 422 if form.errors else 200
    return render(request, "surveys/place_form.html", context, status=status)
