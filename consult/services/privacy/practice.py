"""What the practice's own rows hold of people: clients, log-ins, homes, letters."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from consult.models.letters import Letter
from consult.models.privacy.packages import DataPackage
from consult.services.privacy.fates import (
    Blank,
    Clearing,
    Keep,
    Keys,
    Obstacle,
    Part,
    Subject,
    Table,
    fields,
    nobodys,
    stored_key,
)

THEIRS = _("another person's: they ask for it themselves")
OPENS = _("whoever has it could come in")
PROOF = _("for good: number, kind, date and SHA-256, and who erased it, as the proof of that")
LETTERHEAD = _("the practice's own letterhead; changed on its page")
REGISTER = _("the register of firms; changed on its page")
TOLD = _("for good: the proof of an erasure, which names nobody")


def _clients(subject: Subject, keys: Keys) -> Iterable[Any]:
    return subject.clients


def _users(subject: Subject, keys: Keys) -> Iterable[Any]:
    return subject.users


def _letters(subject: Subject, keys: Keys) -> Iterable[Any]:
    """Addressed to the client, or about one of their homes."""
    theirs = Q(client__in=keys["consult.Client"]) | Q(property__in=keys["consult.Property"])
    return Letter.objects.filter(theirs).values_list("pk", flat=True)


def _letter_name(letter: Any) -> str:
    return f"letters/{letter.number}.pdf"


def _files_of_rows(subject: Subject, keys: Keys) -> Iterable[Any]:
    """None by themselves: `keys_of` adds the files that a person's rows name."""
    return ()


TABLES = [
    Table(
        "consult.StoredFile",
        _("kept files"),
        fields(goes="id file kind size sha256 stored_at"),
        client=_files_of_rows,
    ),
    Table(
        "consult.Client",
        _("client"),
        fields(
            plain="id language created_at",
            name=Blank("[erased {pk}]"),
            email=Blank(),
            phone=Blank(),
            address=Blank(),
            user=Blank(None),
        ),
        client=_clients,
        without=_("name, e-mail, phone, postal address and log-in"),
    ),
    Table(
        "consult.User",
        _("log-in"),
        fields(
            plain="id role firm language joined_at",
            name=Blank("[erased {pk}]"),
            email=Blank("erased-{pk}@erased.invalid"),
            password=Blank("!"),
            last_login=Blank(None),
            is_active=Blank(False, past=False),
            is_manager=Blank(False, past=False),
            is_superuser=Blank(False, past=False),
        ),
        user=_users,
        without=_("name, e-mail, password and every right; nobody can log in by it"),
        withheld={"password": OPENS},
    ),
    Table("consult.User_groups", _("groups"), fields(goes="id user group"), user="user"),
    Table(
        "consult.User_user_permissions",
        _("permissions"),
        fields(goes="id user permission"),
        user="user",
    ),
    Table(
        "consult.Contact",
        _("people beside the client"),
        fields(goes="id client part name email phone address"),
        client="client",
        withheld={"email": THEIRS, "phone": THEIRS, "address": THEIRS},
    ),
    Table(
        "consult.Property",
        _("homes"),
        fields(
            plain="id client country supply_voltage_v frequency_hz phases",
            address=Blank("[erased]"),
        ),
        client="client",
        without=_("address"),
    ),
    # A class of its own: it goes with the home's client, or before, when consent is withdrawn.
    Table(
        "consult.MedicalDevice",
        _("powered medical devices"),
        fields(goes="id property words agreed_at entered_by withdrawn_at withdrawn_by"),
        client="property",
    ),
    Table(
        "consult.Assignment",
        _("who works where"),
        fields(goes="id property user assigned_at"),
        client="property",
        user="user",
    ),
    Table(
        "consult.Letter",
        _("letters"),
        fields(
            plain="id rules language paper template_version corrects rendered_at rendered_with "
            "firm",
            number=Keep(PROOF),
            kind=Keep(PROOF),
            sha256=Keep(PROOF),
            check_code=Keep(_("so that whoever holds the letter can check it")),
            issued_at=Keep(PROOF),
            erased_at=Keep(PROOF),
            erased_by=Keep(PROOF),
            issued_by=Keep(_("the number of who issued it")),
            state=Blank("erased"),
            case_reference=Blank(),
            client=Blank(None),
            property=Blank(None),
            content=Blank({}),
            content_sha256=Blank(),
            failure=Blank(),
            stored=Blank(None),
            emailed_at=Blank(None),
            emailed_by=Blank(None),
            posted_at=Blank(None),
            posted_by=Blank(None),
        ),
        client=_letters,
        without=_("what it says, to whom and about which case, its file, when it was sent"),
        file=stored_key,
        file_name=_letter_name,
        leftovers=lambda letter: [letter.file_key()],
    ),
    Table(
        "consult.DataPackage",
        _("copies of a person's data"),
        fields(
            goes="id token client user asked_by asked_at state failure file size ready_at "
            "expires_at"
        ),
        client="client",
        user="user",
        not_copied=_("copies of the same"),
        file=lambda package: str(package.file),
    ),
    Table(
        "consult.DataRequest",
        _("wishes about one's data"),
        fields(goes="id client kind asked_at done_at done_by"),
        client="client",
    ),
    Table(
        "consult.Practice",
        _("the practice"),
        fields(
            plain="id country currency tax_line offer_days second_factor_days second_factor_since "
            "reminds_of_appointments reminds_of_silence reminds_of_measuring",
            name=Keep(LETTERHEAD),
            address=Keep(LETTERHEAD),
            phone=Keep(LETTERHEAD),
            email=Keep(LETTERHEAD),
            website=Keep(LETTERHEAD),
            logo=Keep(LETTERHEAD),
            logo_sha256=Keep(LETTERHEAD),
            signatory=Keep(LETTERHEAD),
            signatory_function=Keep(LETTERHEAD),
        ),
    ),
    Table(
        "consult.Firm",
        _("firms"),
        fields(
            plain="id",
            name=Keep(REGISTER),
            address=Keep(REGISTER),
            phone=Keep(REGISTER),
            email=Keep(REGISTER),
            language=Keep(REGISTER),
            trades=Keep(REGISTER),
            licence=Keep(REGISTER),
            licence_until=Keep(REGISTER),
            insurance=Keep(REGISTER),
            insurance_until=Keep(REGISTER),
        ),
    ),
    Table(
        "consult.Erasure",
        _("proofs of erasures"),
        fields(
            plain="id uid counted files_left n_files files_gone_at repeated_at",
            at=Keep(TOLD),
            by=Keep(TOLD),
            clients=Keep(TOLD),
            users=Keep(TOLD),
            reason=Keep(TOLD),
        ),
    ),
    nobodys(
        "consult.Retention",
        _("periods"),
        "id case_years access_log_days mail_days job_days package_days",
    ),
    nobodys("consult.ErasureWindow", _("windows"), "id never"),
    nobodys("consult.EntryKey", _("keys of forms"), "id digest row made_at"),
    nobodys("consult.Heartbeat", _("workers"), "id worker beat_at last_job_at"),
]


def obstacles(subject: Subject, keys: Keys, now: Any) -> Iterable[Obstacle]:
    """A file that is being made must not come after the erasure."""
    made = Letter.objects.filter(pk__in=keys["consult.Letter"])
    if made.filter(state__in=[Letter.State.QUEUED, Letter.State.RENDERING]).exists():
        yield Obstacle(_("A letter is being made at this moment. Wait until it is ready."))
    copies = DataPackage.objects.filter(pk__in=keys["consult.DataPackage"])
    if copies.filter(state=DataPackage.State.QUEUED).exists():
        yield Obstacle(_("A copy of the data is being made at this moment. Wait until it is."))


PART = Part(
    TABLES,
    clearings=[
        Clearing(
            kind="packages",
            label=_("copies of a person's data"),
            model="consult.DataPackage",
            date="expires_at",
            days=0,
            file="file",
        ),
        Clearing(
            kind="form-keys",
            label=_("keys of forms that were sent"),
            model="consult.EntryKey",
            date="made_at",
            days=30,  # far longer than anybody sends the same form again
        ),
    ],
    obstacles=obstacles,
)
