"""The pages about people's data: what they say, what they take, who may open them."""

import io
import zipfile

import pytest
from django.contrib.messages import get_messages
from django.core.management import CommandError, call_command
from django.urls import reverse
from django.utils import timezone

from consult.models import Client, DataPackage, DataRequest, Erasure, Job, OutboundMail, Practice
from consult.services.privacy.erasures import erase_person
from consult.services.privacy.packages import ask_package
from consult.services.privacy.requests import ask_for_data
from consult.tasks import run_job
from mitigation.models import Case, Stage
from tests.cast import ASKERS, Cast, make_cast
from tests.factories import ClientFactory, UserFactory, ready_letter
from tests.privacy.planted import LONG_AGO

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    found = make_cast()
    Client.objects.filter(pk=found.case.property.client_id).update(name="Ida  Quell")
    return found


def end(case: Case, since=LONG_AGO) -> None:
    Case.objects.filter(pk=case.pk).update(stage=Stage.CLOSED, stage_since=since)


def url(name: str, cast: Cast, whose: str = "client") -> str:
    pk = cast.case.property.client_id if whose == "client" else cast.people["its assessor"].pk
    return reverse(name, args=[whose, pk])


# -- Erasing ----------------------------------------------------------------------------------


def test_a_typed_name_erases_and_another_word_does_not(client, cast) -> None:
    end(cast.case)
    cast.log_in(client, "manager")
    wrong = client.post(url("person_erase", cast), {"name": "Ida Quelle"})
    assert wrong.status_code == 422
    assert "Type: Ida Quell" in wrong.content.decode()
    assert not Erasure.objects.exists()
    done = client.post(url("person_erase", cast), {"name": " Ida Quell "})
    assert done.status_code == 302 and done.url == reverse("erasure_list")
    assert Erasure.objects.get().by == cast.people["manager"]
    page = client.get(done.url).content.decode()
    assert f"client {cast.case.property.client_id}" in page and "Quell" not in page


def test_while_a_case_is_open_there_is_no_button_and_a_post_is_refused(client, cast) -> None:
    cast.log_in(client, "manager")
    page = client.get(url("person_erase", cast)).content.decode()
    assert "Close or decline it first" in page and "Erase for good" not in page
    refused = client.post(url("person_erase", cast), {"name": "Ida Quell", "reason": "please"})
    assert refused.status_code == 422 and not Erasure.objects.exists()


def test_before_its_time_the_form_wants_a_reason(client, cast) -> None:
    end(cast.case, since=timezone.now())
    cast.log_in(client, "manager")
    assert client.post(url("person_erase", cast), {"name": "Ida Quell"}).status_code == 422
    said = {"name": "Ida Quell", "reason": "asked for it, nothing is owed"}
    assert client.post(url("person_erase", cast), said).status_code == 302
    assert Erasure.objects.get().reason == said["reason"]


def test_the_look_counts_rows_and_says_what_is_kept_and_why(client, cast) -> None:
    end(cast.case)
    ready_letter(cast.case)
    cast.log_in(client, "manager")
    page = client.get(url("person_erase", cast)).content.decode()
    for words in ("Letters", "stay without:", "deleted", "as the proof of that"):
        assert words in page
    assert not Erasure.objects.exists()


@pytest.mark.parametrize("name", ["person_data", "person_erase"])
def test_log_ins_are_for_who_runs_the_practice(client, cast, name) -> None:
    found = {}
    for asker in ASKERS:
        client.logout()
        cast.log_in(client, asker)
        found[asker] = client.get(url(name, cast, "person")).status_code
    assert found.pop("manager") == 200 and found.pop("nobody") == 302
    assert set(found.values()) == {403}


@pytest.mark.parametrize("asker", [asker for asker in ASKERS if asker != "manager"])
def test_nobody_else_erases_by_a_post(client, cast, asker) -> None:
    end(cast.case)
    cast.log_in(client, asker)
    status = client.post(url("person_erase", cast), {"name": "Ida Quell"}).status_code
    assert status == (302 if asker == "nobody" else 403)
    assert not Erasure.objects.exists()


def test_an_erased_letter_is_decent_on_its_page_and_in_the_list(client, cast) -> None:
    letter = ready_letter(cast.case)
    end(cast.case)
    erase_person(person=cast.case.property.client, by=cast.people["manager"], now=timezone.now())
    cast.log_in(client, "office")
    page = client.get(reverse("letter_detail", args=[letter.number])).content.decode()
    letter.refresh_from_db()
    assert letter.sha256 in page and "Erased on" in page and "Open the PDF" not in page
    assert letter.number in client.get(reverse("letter_list")).content.decode()
    assert "None" not in client.get(reverse("letter_list")).content.decode()
    assert client.get(reverse("letter_list_export")).status_code == 200
    assert client.get(reverse("letter_file", args=[letter.number])).status_code == 404
    case = Case.objects.get(pk=cast.case.pk)
    assert client.get(reverse("case_detail", args=[case.reference])).status_code == 200
    assert client.get(reverse("case_history", args=[case.reference])).status_code == 200
    page = client.get(reverse("client_detail", args=[case.property.client_id])).content.decode()
    assert "This client was erased" in page and "Open a case" not in page
    assert "[erased" not in client.get(reverse("client_list")).content.decode()


# -- A copy -----------------------------------------------------------------------------------


def test_the_office_has_a_copy_made_and_fetches_it(client, cast) -> None:
    cast.log_in(client, "office")
    assert client.post(url("person_data", cast)).status_code == 302
    part = client.get(url("person_data", cast), headers={"HX-Request": "true"}).content.decode()
    assert "every 1s" in part and "<html" not in part
    package = DataPackage.objects.get()
    assert client.get(reverse("data_package", args=[package.token])).status_code == 404
    run_job(Job.objects.get(key=f"make-package:{package.pk}").pk)
    assert "every 1s" not in client.get(url("person_data", cast)).content.decode()
    answer = client.get(reverse("data_package", args=[package.token]))
    assert answer["Content-Type"] == "application/zip"
    assert "data.json" in zipfile.ZipFile(io.BytesIO(answer.getvalue())).namelist()


def test_a_copy_of_a_log_in_is_for_who_runs_the_practice(client, cast) -> None:
    package = ask_package(person=cast.people["its assessor"], by=None, now=timezone.now())
    run_job(Job.objects.get(key=f"make-package:{package.pk}").pk)
    for asker, status in (("office", 404), ("manager", 200)):
        client.logout()
        cast.log_in(client, asker)
        answer = client.get(reverse("data_package", args=[package.token]))
        assert answer.status_code == status
        # read to its end, or the file stays open into another test
        assert answer.getvalue().startswith(b"PK") == (status == 200)


# -- The client's own side --------------------------------------------------------------------


def test_a_client_asks_and_the_office_sees_it_until_it_is_answered(client, cast) -> None:
    Practice.objects.filter(pk=1).update(email="office@example.org")
    cast.log_in(client, "its client")
    for _twice in range(2):
        client.post(reverse("own_data"), {"kind": "erasure"})
    wish = DataRequest.objects.get()
    assert "You have asked to be erased" in client.get(reverse("own_data")).content.decode()
    mail = OutboundMail.objects.get()
    assert mail.to == "office@example.org" and "Quell" not in mail.body + mail.subject
    client.logout()
    cast.log_in(client, "office")
    seen = [reverse("desk"), reverse("client_detail", args=[wish.client_id])]
    assert all("erasure" in client.get(page).content.decode() for page in seen)
    client.post(reverse("data_request_answer", args=[wish.pk]))
    assert not any("erasure" in client.get(page).content.decode() for page in seen)
    wish.refresh_from_db()
    assert wish.done_by == cast.people["office"]


def test_an_odd_wish_is_no_wish(client, cast) -> None:
    cast.log_in(client, "its client")
    assert client.post(reverse("own_data"), {"kind": "money"}).status_code == 422
    assert not DataRequest.objects.exists()


def test_an_assessor_sees_no_wishes(client, cast) -> None:
    ask_for_data(client=cast.case.property.client, kind="copy", now=timezone.now())
    cast.log_in(client, "its assessor")
    assert "ask about their data" not in client.get(reverse("desk")).content.decode()


# -- Retention --------------------------------------------------------------------------------


def test_periods_are_changed_within_limits(client, cast) -> None:
    cast.log_in(client, "manager")
    periods = {"case_years": 6, "access_log_days": 200, "mail_days": 30, "job_days": 30,
               "package_days": 3}  # fmt: skip
    assert client.post(reverse("retention"), periods | {"mail_days": 1}).status_code == 422
    answer = client.post(reverse("retention"), periods)
    assert answer.status_code == 302
    assert [str(one) for one in get_messages(answer.wsgi_request)]
    end(cast.case)
    assert "Ida" in client.get(reverse("retention")).content.decode()


def test_lists_cost_the_same_for_one_row_and_for_fifty(
    client, cast, django_assert_max_num_queries
) -> None:
    cast.log_in(client, "manager")
    by = cast.people["manager"]

    def one_more() -> None:
        person = ClientFactory(user=UserFactory(role="client"))
        erase_person(person=person, by=by, now=timezone.now())

    def queries() -> int:
        with django_assert_max_num_queries(30) as seen:
            client.get(reverse("erasure_list"))
        return len(seen)

    one_more()
    client.get(reverse("erasure_list"))
    first = queries()
    for _more in range(10):
        one_more()
    assert queries() == first


# -- Commands ---------------------------------------------------------------------------------


def test_the_command_looks_first_and_then_erases(cast, capsys) -> None:
    end(cast.case)
    pk, by = cast.case.property.client_id, cast.people["manager"].email
    call_command("erase", "client", str(pk), "--dry-run")
    assert "consult.Client: 1 rows" in capsys.readouterr().out
    assert not Erasure.objects.exists()
    with pytest.raises(CommandError, match="Nobody who runs the practice"):
        call_command("erase", "client", str(pk), "--by", cast.people["office"].email)
    call_command("erase", "client", str(pk), "--by", by)
    assert "all gone" in capsys.readouterr().out
    call_command("erase", "--again")
    assert "0 erasures were done again" in capsys.readouterr().out


def test_the_command_writes_a_copy_and_replaces_no_file(cast, tmp_path) -> None:
    pk, to = str(cast.case.property.client_id), tmp_path / "copy.zip"
    call_command("person_data", "client", pk, "--to", str(to))
    assert zipfile.is_zipfile(to)
    with pytest.raises(CommandError, match="there already"):
        call_command("person_data", "client", pk, "--to", str(to))
    with pytest.raises(CommandError, match="no client 999999"):
        call_command("person_data", "client", "999999", "--to", str(tmp_path / "b.zip"))
