"""Clients, the people beside them, and their homes."""

from collections.abc import Callable
from functools import partial
from typing import TypeVar

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from consult.access import SignedInRequest, role_required
from consult.forms.clients import ClientForm, ContactForm, MergeForm, PropertyForm, VersionedForm
from consult.htmx import back_to, entry_form
from consult.models import Client, Contact, Property
from consult.models.clients import ClientQuerySet
from consult.models.folding import with_words
from consult.pages.downloads import spreadsheet
from consult.services import clients as services
from consult.services.spreadsheets import Column, Sheet

Row = TypeVar("Row", Client, Contact, Property)
PER_PAGE = 50
MOST_CANDIDATES = 30


@require_safe
@role_required("office", "assessor")
def client_list(request: SignedInRequest) -> HttpResponse:
    page = Paginator(_wanted(request), PER_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "query": request.GET.get("q", "").strip()}
    return render(request, "consult/client_list.html", context)


@require_safe
@role_required("office", "assessor")
def client_list_export(request: SignedInRequest) -> HttpResponse:
    """The same list, all of it, as XLSX."""
    columns: list[Column] = [
        (_("Name"), lambda row: row.name),
        (_("Postal address"), lambda row: row.address),
        (_("Phone"), lambda row: row.phone),
        (_("E-mail"), lambda row: row.email),
        (_("Language"), lambda row: row.language),
        (_("Since"), lambda row: timezone.localdate(row.created_at)),
        (_("Properties"), lambda row: row.n_properties),
    ]
    return spreadsheet(_("clients"), Sheet(_("Clients"), columns, _wanted(request)))


def _wanted(request: HttpRequest) -> QuerySet[Client]:
    """The clients that the person may see and asked for."""
    seen = Client.objects.visible_to(request.user).present()
    rows = _matching(seen, request.GET.get("q", ""))
    counted: QuerySet[Client] = rows.for_list()
    return counted.order_by("name", "pk")


@require_safe
@role_required("office", "assessor")
def client_detail(request: SignedInRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client.objects.visible_to(request.user), pk=pk)
    homes = Property.objects.visible_to(request.user).filter(client=client)
    context = {
        "client": client,
        "contacts": client.contacts.all(),
        "homes": homes.prefetch_related("cases"),
    }
    return render(request, "consult/client_detail.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def client_add(request: SignedInRequest) -> HttpResponse:
    form = ClientForm(request.POST or None)
    save = partial(services.save_client, client=form.instance, but_not=form.answer)
    try:
        client = _saved(request, form, save)
    except services.AlikeError as error:
        form.ask_about(error.client)
    else:
        if client is not None:
            return redirect("client_detail", pk=client.pk)
    return _form_page(request, form, _("Enter a client"), reverse("client_list"))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def client_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client.objects.visible_to(request.user), pk=pk)
    form = ClientForm(request.POST or None, instance=client)
    back = reverse("client_detail", args=[pk])
    if _saved(request, form, partial(services.save_client, client=form.instance)):
        return back_to(request, back)
    return _form_page(request, form, _("Change the client"), back)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def contact_add(request: SignedInRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client.objects.visible_to(request.user), pk=pk)
    return _contact_page(request, Contact(client=client), _("Enter a contact"))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def contact_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    contact = get_object_or_404(Contact.objects.visible_to(request.user), pk=pk)
    return _contact_page(request, contact, _("Change the contact"))


@require_POST
@role_required("office")
def contact_remove(request: SignedInRequest, pk: int) -> HttpResponse:
    contact = get_object_or_404(Contact.objects.visible_to(request.user), pk=pk)
    services.remove_contact(contact=contact, by=request.user)
    messages.info(request, _("%(name)s is removed.") % {"name": contact.name})
    return redirect("client_detail", pk=contact.client_id)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def property_add(request: SignedInRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client.objects.visible_to(request.user), pk=pk)
    return _property_page(request, Property(client=client), _("Enter a property"))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def property_edit(request: SignedInRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.visible_to(request.user), pk=pk)
    return _property_page(request, home, _("Change the property"))


@require_http_methods(["GET", "HEAD", "POST"])
@role_required("office")
def client_merge(request: SignedInRequest, pk: int) -> HttpResponse:
    """Two records of one client become one."""
    client = get_object_or_404(Client.objects.visible_to(request.user), pk=pk)
    query = request.GET.get("q", "").strip()
    others = Client.objects.visible_to(request.user).present().exclude(pk=pk)
    likely = _matching(others, query) if query else others.filter(_resembles(client))
    keys = list(likely.order_by("name", "pk").values_list("pk", flat=True)[:MOST_CANDIDATES])
    shown = others.filter(pk__in=keys)
    candidates = others if request.method == "POST" else shown
    form = MergeForm(request.POST or None, candidates=candidates)
    if request.method == "POST" and form.is_valid():
        try:
            services.merge_clients(keep=client, gone=form.cleaned_data["gone"], by=request.user)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, _("The two records are one now."))
            return redirect("client_detail", pk=pk)
    if request.method == "POST":
        form.offer(shown)  # not every client of the practice as a button
    context = {"client": client, "form": form, "query": query, "found": bool(keys)}
    return render(request, "consult/client_merge.html", context, status=422 if form.errors else 200)


def _matching(rows: ClientQuerySet, query: str) -> ClientQuerySet:
    """Clients with every word of `query` in their name, address, phone or e-mail."""
    return with_words(rows, query, "name", "address", "phone", "email")


def _resembles(client: Client) -> Q:
    """Who might be the same: the same last name, e-mail, phone or address."""
    same = Q(name__iendswith=client.name.split()[-1])
    for name in ("email", "phone", "address"):
        if getattr(client, name):
            same |= Q(**{f"{name}__iexact": getattr(client, name)})
    return same


def _contact_page(request: HttpRequest, contact: Contact, title: str) -> HttpResponse:
    form = ContactForm(request.POST or None, instance=contact)
    back = reverse("client_detail", args=[contact.client_id])
    if _saved(request, form, partial(services.save_contact, contact=form.instance)):
        return back_to(request, back)
    return _form_page(request, form, title, back)


def _property_page(request: HttpRequest, home: Property, title: str) -> HttpResponse:
    form = PropertyForm(request.POST or None, instance=home)
    back = reverse("client_detail", args=[home.client_id])
    if _saved(request, form, partial(services.save_property, home=form.instance)):
        return back_to(request, back)
    return _form_page(request, form, title, back)


def _saved(request: HttpRequest, form: VersionedForm, save: Callable[..., Row]) -> Row | None:
    """The stored row, if the form was sent and is right; what is wrong stands in the form."""
    if request.method != "POST" or not form.is_valid():
        return None
    try:
        row = save(by=request.user, seen=form.seen, key=form.cleaned_data.get("key"))
    except services.AlikeError:
        raise
    except ValidationError as error:
        form.add_error(None, error)
        return None
    messages.success(request, _("%(name)s is saved.") % {"name": row})
    return row


def _form_page(request: HttpRequest, form: VersionedForm, title: str, back: str) -> HttpResponse:
    return entry_form(request, form, {"title": title, "back": back})
