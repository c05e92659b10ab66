"""The page of a case: what may be done, the filtered comparison, notes, files, the history."""

import re
import zipfile
from datetime import timedelta
from io import BytesIO

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from consult.models import Assignment, Letter, User
from mitigation.models import Attachment, Case, CaseVisit, Note, Stage
from mitigation.services.attachments import attach_file
from mitigation.services.cases import move_case
from mitigation.services.imports import import_case_folder
from surveys.models import Measurand, Reading, Room, Spot
from tests.factories import (
    FOLLOW_UP_DAY,
    CalibrationFactory,
    CaseFactory,
    SpotFactory,
    UserFactory,
    VisitFactory,
    add_reading,
    as_if_so_from_the_start,
    assign,
    compared_case,
    issue_outcome_letter,
    issue_survey_report,
    ready_letter,
)
from tests.project.files import ROOT

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def office(client):
    user = UserFactory(name="Ines Feld")
    client.force_login(user)
    return user


def ran_out():
    """A certificate that held until the day before the follow-up."""
    return CalibrationFactory(
        certificate="K-99",
        calibrated_on=FOLLOW_UP_DAY - timedelta(days=365),
        due_on=FOLLOW_UP_DAY - timedelta(days=1),
    )


def url(case, name="case_detail", *more):
    return reverse(name, args=[case.reference, *more])


def act(client, case, name, **typed):
    return client.post(url(case, "case_act", name), typed, follow=True).content.decode()


def test_a_case_is_moved_from_the_stage_that_the_person_saw(client):
    case = CaseFactory(stage=Stage.DECISION)
    page = client.get(url(case)).content.decode()
    assert 'name="to" value="works"' in page and 'name="to" value="proof"' not in page
    act(client, case, "move", seen="decision", to="works")
    assert Case.objects.get().stage == Stage.WORKS
    late = act(client, case, "move", seen="decision", to="plan")
    assert "Somebody else changed this case meanwhile" in late
    assert Case.objects.get().stage == Stage.WORKS


def test_hold_resume_decline_and_reopen(client):
    case = CaseFactory(stage=Stage.WORKS)
    assert "Say why" in act(client, case, "hold", seen="works", reason=" ")
    page = act(client, case, "hold", seen="works", reason="Waits for the landlord")
    assert "Waits for the landlord" in page and "On to:" not in page
    act(client, case, "resume", seen="works")
    page = act(client, case, "decline", seen="works", reason="They moved out")
    assert "They moved out" in page and "Reopen at" in page
    act(client, case, "reopen", seen="declined", to="findings", reason="Back again")
    assert Case.objects.get().stage == Stage.FINDINGS


def test_another_round_and_another_assessor(client):
    case, assessor = CaseFactory(stage=Stage.PROOF), UserFactory(role=User.Role.ASSESSOR)
    page = act(client, case, "round", seen="proof", reason="Bed head is still above")
    assert "Round 2." in page
    act(client, case, "hand-over", seen="plan", to=assessor.pk)
    assert Assignment.objects.get().user == assessor


def test_an_edit_over_somebody_elses_change_is_told(client):
    case = CaseFactory()
    form = client.get(url(case, "case_edit")).context["form"]
    typed = {"guideline": case.guideline_id, "target_band": 1, "placement_percent": 5,
             "due_on": "2026-07-01", "version": form.initial["version"]}  # fmt: skip
    move_case(case=case, to=Stage.BASELINE, by=None, now=timezone.now())
    answer = client.post(url(case, "case_edit"), typed)
    assert answer.status_code == 422 and "changed this meanwhile" in answer.content.decode()
    assert Case.objects.get().target_band == 2
    typed["version"] = client.get(url(case, "case_edit")).context["form"].initial["version"]
    assert client.post(url(case, "case_edit"), typed).status_code == 302
    assert Case.objects.get().target_band == 1


def two_quantities():
    """Two rooms; one spot was read at the follow-up in another quantity alone."""
    case = compared_case(before=48.0, after=12.0)
    room = Room.objects.create(property=case.property, name="Study")
    study = SpotFactory(room=room, name="desk seat")
    calibration = CalibrationFactory(quantity="magnetic flux density", unit="nT")
    baseline = case.visits.order_by("date").first()
    add_reading(
        baseline, study, calibration, total=215, unit="nT",
        measurand=Measurand.MAGNETIC_FLUX_DENSITY,
    )  # fmt: skip
    return case


def test_the_comparison_is_filtered_by_room_quantity_and_decision(client):
    case = two_quantities()

    def shown(**asked):
        rows = client.get(url(case), asked).context["spots"]
        return [row["room"] for row in rows]

    assert shown() == ["Bedroom", "Study"]
    assert shown(room="Study") == ["Study"]
    assert shown(measurand="electric-field-ground") == ["Bedroom"]
    assert shown(decision="fail") == ["Bedroom"]
    assert shown(decision="not-comparable") == ["Study"]
    assert shown(room="Study", decision="fail") == []
    part = client.get(url(case), {"room": "Study"}, headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode() and "Bedroom" not in part.content.decode()
    page = client.get(url(case)).content.decode()
    assert "What could not be compared, and why" in page and "What is left to do" in page


def four_spots():
    """Beds and a desk, better and worse, in another order than that of the picture."""
    case = compared_case(before=9.0, after=2.0)
    calibration = CalibrationFactory()
    flux = CalibrationFactory(quantity="magnetic flux density", unit="nT")
    room = Room.objects.create(property=case.property, name="Study")
    for name, use, before, after in (
        ("desk", "work", 60.0, 55.0),
        ("cot", "sleeping", 20.0, 12.0),
        ("sofa", "sleeping", 40.0, 1.0),
    ):
        spot = SpotFactory(room=room, name=name, use=use)
        for visit, total in zip(case.visits.order_by("date"), (before, after), strict=True):
            fields = {"unit": "nT", "measurand": Measurand.MAGNETIC_FLUX_DENSITY}
            add_reading(visit, spot, flux, total=total, **fields)
            add_reading(visit, spot, calibration, total=total)
    return case


def test_the_table_stands_in_the_order_of_the_picture_and_of_the_letter(client):
    case = four_spots()

    def shown():
        rows = client.get(url(case)).context["spots"]
        return [(row["measurand"][:5], row["spot"][:4]) for row in rows]

    # Quantity by quantity in one order of places: where people sleep first, the room with the
    # worst after value first, and in a room its worst place.
    assert shown() == [
        ("elect", "cot"), ("elect", "sofa"), ("elect", "spot"), ("elect", "desk"),
        ("magne", "cot"), ("magne", "sofa"), ("magne", "desk"),
    ]  # fmt: skip
    # Before a follow-up what was found there says which is the worst: 40, 20 and 9 V/m.
    CaseVisit.objects.get(visit__kind="follow-up").delete()
    assert shown()[:4] == [
        ("elect", "sofa"),
        ("elect", "cot"),
        ("elect", "spot"),
        ("elect", "desk"),
    ]
    pictures = client.get(url(case)).context["pictures"]
    names = [word for word in ("cot", "sofa", "desk") if word in pictures[0][1]]
    assert sorted(names, key=pictures[0][1].index) == ["sofa", "cot", "desk"]


def test_before_the_follow_up_the_page_says_what_was_found_and_compares_nothing(client):
    case = compared_case()
    both = client.get(url(case)).content.decode()
    CaseVisit.objects.get(visit__kind="follow-up").delete()
    alone = client.get(url(case)).content.decode()
    for word in ("Before and after", "Reduction", "What is left to do", "probability"):
        assert word in both and word not in alone, word
    assert "Findings per spot" in alone and "Findings per spot" not in both
    assert "48 ±" in alone and "not comparable" not in alone and "cannot be decided" not in alone


def jumps(page: str) -> list[str]:
    """Where the links to the parts of a page lead, each of them to a part that is there."""
    nav = page[page.index('<nav class="jump"') :]
    found = re.findall(r'href="#([\w-]+)"', nav[: nav.index("</nav>")])
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert [ids.count(one) for one in found] == [1] * len(found), (found, ids)
    return found


def test_the_page_leads_to_its_parts_and_to_no_part_that_is_missing(client):
    side_parts, case = ["people", "judged"], compared_case()
    parts = ["comparison", "left", "visits", *side_parts]
    assert jumps(client.get(url(case)).content.decode()) == parts
    CaseVisit.objects.get(visit__kind="follow-up").delete()
    parts.remove("left")
    assert jumps(client.get(url(case)).content.decode()) == parts
    empty = client.get(url(CaseFactory())).content.decode()
    assert '<nav class="jump"' not in empty
    assert "Before and after" not in empty and "Findings per spot" not in empty


def test_what_is_not_there_yet_takes_one_line_with_its_controls(client):
    case = CaseFactory()
    parts = {"readings", "visits", "letters", "notes", "files"}

    def of_page():
        page = client.get(url(case)).content.decode()
        section = page.partition('id="not-yet" class="not-yet"')[2].partition("</section>")[0]
        words = section.partition("Not yet: ")[2].partition(".</p>")[0]
        return page, section, set(words.split(", ")) - {""}

    page, section, words = of_page()
    assert words == parts
    for name in ("note_add", "file_attach", "visit_plan"):
        assert url(case, name) in section
    for heading in ("letters", "visits", "notes", "files", "comparison"):
        assert f'<h2 id="{heading}"' not in page
    client.post(url(case, "note_add"), {"text": "Ring twice."})
    client.post(url(case, "file_attach"), {"file": SimpleUploadedFile("a.txt", b"words")})
    page, section, words = of_page()
    assert words == parts - {"notes", "files"}
    assert page.count(f'action="{url(case, "note_add")}"') == 1
    assert "Write a note" not in section and '<h2 id="files"' in page


def test_nothing_is_said_to_be_missing_once_all_is_there(client):
    case = compared_case()
    ready_letter(case)
    client.post(url(case, "note_add"), {"text": "Ring twice."})
    client.post(url(case, "file_attach"), {"file": SimpleUploadedFile("a.txt", b"words")})
    assert "Not yet" not in client.get(url(case)).content.decode()


def test_the_page_of_a_visit_leads_to_its_parts(client):
    sealed, still_open = compared_case().visits.order_by("date")[0], VisitFactory(sealed_at=None)
    page = client.get(reverse("visit_detail", args=[sealed.pk])).content.decode()
    measured = ["ground-checks", "readings", "findings", "conditions"]
    assert jumps(page) == measured
    page = client.get(reverse("visit_detail", args=[still_open.pk])).content.decode()
    assert jumps(page) == ["entry", "ground-checks", "readings", "seal", "conditions"]


def test_each_value_leads_down_to_its_reading(client):
    case = compared_case()
    page = client.get(url(case)).content.decode()
    for reading in Reading.objects.all():
        assert reverse("reading_detail", args=[reading.pk]) in page


def test_a_band_stands_with_its_words_and_a_decision_with_its_mark(client):
    # SBM-2015 for the electric field: 1, 5 and 50 V/m; 48 ± 6 is severe, 2.4 ± 0.3 slight.
    page = client.get(url(compared_case(before=48.0, after=2.4))).content.decode()
    assert '<span class="band band-3">severe anomaly</span>' in page
    assert '<span class="band band-2">slight anomaly</span>' in page
    assert 'met <span aria-hidden="true">✓</span>' in page
    assert "Target: band 2 (slight anomaly) or lower." in page


def test_notes_and_files(client, office):
    case = CaseFactory()
    client.post(url(case, "note_add"), {"text": "Ring before you come"})
    file = SimpleUploadedFile("plan of the <house>.pdf", b"%PDF-1.7 plan")
    client.post(url(case, "file_attach"), {"file": file})
    page = client.get(url(case)).content.decode()
    assert "Ring before you come" in page and "plan of the &lt;house&gt;.pdf" in page
    assert Note.objects.get().written_by == office
    answer = client.get(reverse("attachment", args=[Attachment.objects.get().pk]))
    assert answer.getvalue() == b"%PDF-1.7 plan"
    assert answer["Content-Disposition"].startswith("attachment")
    assert answer["X-Content-Type-Options"] == "nosniff"


def test_notes_and_files_are_not_for_clients(client):
    case = CaseFactory()
    row = attach_file(
        case=case, name="a.txt", content=ContentFile(b"a"), by=None, now=timezone.now()
    )
    owner = UserFactory(role=User.Role.CLIENT)
    case.property.client.user = owner
    case.property.client.save()
    assert not Attachment.objects.visible_to(owner).exists()
    client.force_login(owner)
    assert client.get(reverse("attachment", args=[row.pk])).status_code == 403


@pytest.mark.parametrize(
    ("name", "data", "word"),
    [
        ("a.pdf", b"MZ\x90\x00\x03", "kind of file"),
        ("a.png", b'<svg xmlns="x"><script>alert(1)</script></svg>', "kind of file"),
        ("a.txt", b"  <html><script>1</script>", "kind of file"),
        ("a.txt", b"\xff\xfea\x00", "kind of file"),
        ("a.txt", b"", "empty"),
        ("a.pdf", b"%PDF-" + bytes(20_000_001), "at most 20 MB"),
    ],
)
def test_files_that_are_not_kept(client, name, data, word):
    case = CaseFactory()
    file = SimpleUploadedFile(name, data)
    answer = client.post(url(case, "file_attach"), {"file": file}, follow=True)
    assert word in answer.content.decode()
    assert not Attachment.objects.exists()
    assert not default_storage.exists("attachments")


def test_the_same_file_twice_is_one(client):
    case = CaseFactory()
    for _time in range(2):
        client.post(url(case, "file_attach"), {"file": SimpleUploadedFile("../a.txt", b"text")})
    assert Attachment.objects.get().name == "a.txt"


def test_the_history_says_who_changed_what_before_and_after(client, office):
    case = CaseFactory(stage=Stage.DECISION)
    act(client, case, "hold", seen="decision", reason="Holidays")
    home = case.property
    client.post(
        reverse("property_edit", args=[home.pk]),
        {"address": "Uferweg 3", "country": "DE", "supply_voltage_v": 230, "frequency_hz": 50,
         "phases": 3, "version": home.history.first().history_id},
    )  # fmt: skip
    changes = client.get(url(case, "case_history")).context["changes"]
    latest, before = changes[0], changes[1]
    assert (latest.who, latest.kind) == ("Ines Feld", "changed")
    fields = {field.name: (field.before, field.after) for field in latest.fields}
    assert fields["phases"] == ("one", "three") and fields["address"][1] == "Uferweg 3"
    assert before.reason == "Holidays"
    assert [(field.before, field.after) for field in before.fields] == [("–", "Holidays")]


def test_the_office_hands_over_to_whoever_measures(client):
    case, ada = CaseFactory(), UserFactory(role=User.Role.ASSESSOR, name="Ada Kern")
    UserFactory(role=User.Role.ASSESSOR, name="Jo Feld", is_active=False)
    page = client.get(url(case)).content.decode()
    choice = re.search(r'<select id="hand-over-to".*?</select>', page, re.S)[0]
    assert re.findall(r'value="(\d+)">([^<]+)', choice) == [(str(ada.pk), "Ada Kern")]
    answer = client.post(url(case, "case_act", "hand-over"), {"to": ada.pk, "seen": case.stage})
    assert answer.status_code == 302
    assert Assignment.objects.get(property=case.property).user == ada
    client.force_login(ada)
    assert "hand-over-to" not in client.get(url(case)).content.decode()


def test_what_is_read_at_an_open_visit_proves_nothing_yet(client):
    case = compared_case(after=2.4)
    spot = case.visits.first().readings.get().spot
    later = VisitFactory(
        property=case.property, kind="follow-up", date=FOLLOW_UP_DAY + timedelta(1), sealed_at=None
    )
    CaseVisit.objects.create(case=case, visit=later)
    add_reading(later, spot, CalibrationFactory(certificate="K-101"), total=99.0)
    (row,) = client.get(url(case)).context["outcome"]["spots"]
    assert row["after"]["value"] == 2.4


def test_pages_cost_the_same_for_a_small_and_a_large_case(client, django_assert_num_queries):
    case = compared_case()
    assign(UserFactory(role=User.Role.ASSESSOR), case.property)
    CaseVisit.objects.create(case=case, visit=VisitFactory(property=case.property, sealed_at=None))
    Note.objects.create(case=case, text="n", written_at=timezone.now())
    pages = [url(case), url(case, "case_history")]
    counts = []
    for page in pages:
        client.get(page)
        with django_assert_num_queries(100, exact=False) as found:
            client.get(page)
        counts.append(len(found))
    calibration = CalibrationFactory()
    for number in range(20):
        spot = SpotFactory(home=case.property)
        for visit in case.visits.filter(sealed_at__isnull=False):
            add_reading(visit, spot, calibration, total=30.0)
        visit = VisitFactory(property=case.property, sealed_at=None, label=str(number))
        CaseVisit.objects.create(case=case, visit=visit)
        Note.objects.create(case=case, text="n", written_at=timezone.now())
    for page, count in zip(pages, counts, strict=True):
        with django_assert_num_queries(count):
            client.get(page)


def test_the_page_of_a_case_takes_twenty_queries(client, django_assert_max_num_queries):
    source = ROOT / "fixtures" / "demo" / "pruett-split-phase"
    case = import_case_folder(source=source, by=None, now=timezone.now()).case
    issue_outcome_letter(case=case, by=None, now=timezone.now())
    client.get(url(case))
    with django_assert_max_num_queries(20) as queries:
        page = client.get(url(case)).content.decode()
    assert "Outcome letter" in page
    statements = [query["sql"] for query in queries.captured_queries]
    assert len(set(statements)) == len(statements), "the same was asked twice"


def test_a_follow_up_before_its_baseline_is_not_planned_and_proves_nothing(client):
    case, assessor = compared_case(), UserFactory(role=User.Role.ASSESSOR)
    day = case.visits.get(kind="baseline").date
    plan = {"kind": "follow-up", "assessor": assessor.pk, "day": str(day - timedelta(days=1))}
    answer = client.post(url(case, "visit_plan"), plan)
    assert answer.status_code == 422
    assert "A day not before the baseline of March 2, 2026." in answer.content.decode()
    assert client.post(url(case, "visit_plan"), plan | {"day": str(day)}).status_code == 302
    page = client.get(url(case)).content.decode()
    assert "it proves no work that came after." not in page
    late = case.visits.filter(kind="baseline")
    as_if_so_from_the_start(late, date=FOLLOW_UP_DAY + timedelta(days=1))
    page = client.get(url(case)).content.decode()
    assert "The follow-up of May 18, 2026 was before the baseline of May 19, 2026" in page
    refused = client.post(url(case, "letter_issue", "outcome"), follow=True).content.decode()
    assert "was before the baseline: it proves no outcome." in refused
    assert not Letter.objects.exists()


def test_what_the_office_tells_the_assessor_stands_in_no_letter(client):
    case, assessor = compared_case(), UserFactory(role=User.Role.ASSESSOR)
    words = "Key with Mr Ott next door"
    plan = {"kind": "follow-up", "assessor": assessor.pk, "day": "2026-06-20"}
    client.post(url(case, "visit_plan"), plan | {"instructions": words})
    planned = case.visits.get(sealed_at=None)
    assert (planned.instructions, planned.note) == (words, "")
    for page in ("visit_detail", "visit_sheet", "visit_edit"):
        assert words in client.get(reverse(page, args=[planned.pk])).content.decode()
    as_if_so_from_the_start(case.visits.all(), instructions=words, note="a dry day")
    for issue in (issue_outcome_letter, issue_survey_report):
        content = str(issue(case=case, by=None, now=timezone.now()).content)
        assert "a dry day" in content and words not in content
    folder = zipfile.ZipFile(BytesIO(client.get(url(case, "case_export", "zip")).content))
    visits = folder.read("visits.csv").decode()
    assert "a dry day" in visits and words not in visits


def test_what_to_know_is_said_of_both_values_as_in_the_letter(client):
    case = compared_case(before=50.0)  # on a bound of the guideline
    follow_up = case.visits.get(kind="follow-up")
    as_if_so_from_the_start(
        Reading.objects.filter(visit=follow_up), x=2.4, total=None, calibration=ran_out()
    )
    page = client.get(url(case)).content.decode()
    assert "before: exactly on a limit" in page and "after: one axis" in page
    both = compared_case(before=0.4, after=0.3)
    assert "before and after: under the standard" in client.get(url(both)).content.decode()
    assert "field meter A: K-99, due May 17, 2026" in page
    book = zipfile.ZipFile(BytesIO(client.get(url(case, "case_detail_export")).content))
    assert (
        "before: exactly on a limit; after: one axis"
        in book.read("xl/worksheets/sheet1.xml").decode()
    )
    CaseVisit.objects.filter(visit=follow_up).delete()
    page = client.get(url(case)).content.decode()
    assert "<small>exactly on a limit</small>" in page
    assert "no reading left" not in page and "before: " not in page


def test_values_and_spots_are_counted_apart(client):
    case = compared_case()
    spot, calibration = Spot.objects.get(), CalibrationFactory(quantity="magnetic flux density")
    for visit in case.visits.all():
        add_reading(
            visit, spot, calibration, measurand="magnetic-flux-density", unit="nT", total=900.0
        )
    page = client.get(url(case)).content.decode()
    assert "Met by 1 of 2 values at 1 spots; not met by 1;" in page


def test_the_page_of_a_visit_judges_as_the_case_that_leads_there(client):
    case = compared_case(placement_percent=7.5)
    page = client.get(url(case)).content.decode()
    visit = case.visits.get(kind="baseline")
    there = reverse("visit_detail", args=[visit.pk]) + "?guideline=SBM-2015&amp;placement=7.5"
    assert f'href="{there}"' in page


def test_the_page_of_a_visit_leads_back_to_its_case(client):
    case = compared_case()
    page = client.get(reverse("visit_detail", args=[case.visits.first().pk])).content.decode()
    assert f'<a href="{url(case)}">Case {case.reference}</a>' in page


@pytest.mark.parametrize(("percent", "word"), [("-1", "greater"), ("150", "less")])
def test_a_placement_that_is_no_percentage_is_said_in_plain_words(client, percent, word):
    case = compared_case()
    asked = client.get(url(case, "case_edit")).context["form"].initial
    typed = {name: asked[name] or "" for name in asked} | {"placement_percent": percent}
    answer = client.post(url(case, "case_edit"), typed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert f"Ensure this value is {word} than or equal to" in page and "Constraint" not in page
