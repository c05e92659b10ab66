"""Who may open what: every URL of the site, for the whole cast. A URL without a row fails."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.db import transaction
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from consult.models import Contact, DataPackage, DataRequest, Firm, Job, Letter, User
from consult.services.privacy.packages import ask_package
from consult.services.privacy.requests import ask_for_data
from consult.tasks import run_job
from mitigation.models import (
    Attachment,
    Case,
    PendingUpload,
    PlanDraft,
    PlanItem,
    Remedy,
    TestInstrument,
    TestValue,
    WorkOrder,
    WorkPhoto,
)
from mitigation.services.attachments import attach_file
from mitigation.services.plan_drafts import keep_draft
from mitigation.services.plan_items import add_item
from mitigation.services.uploads import keep_upload
from mitigation.tasks import attachments, uploads
from surveys.models import Appliance, Circuit, GroundCheck, GroundPoint, Instrument, Panel
from tests.cast import ASKERS, make_cast
from tests.factories import (
    FirmFactory,
    UserFactory,
    offered_plan,
    ready_draft,
    ready_letter,
)
from tests.mitigation.ordered_works import keep, proposed, reported, sent_order
from tests.surveys.case_folders import as_zip

pytestmark = pytest.mark.django_db

# One row a page: method, arguments, and what each of the cast gets, in the order of ASKERS:
# manager, office, its assessor, another assessor, its client, another client, its electrician,
# nobody. 404 and not 403 for rows of others: do not tell that they exist.
ANYBODY = "200 200 200 200 200 200 200 200"
EVERYONE_IN = "200 200 200 200 200 200 200 302"
MANAGER = "200 403 403 403 403 403 403 302"
OFFICE = "200 200 403 403 403 403 403 302"
PARTS = 16  # of the pages, so that workers balance
INLINE_STYLE = re.compile(rb"<style|<[^>]* style\s*=")
MATRIX: dict[str, tuple[str, dict[str, str], str]] = {
    "home": ("get", {}, "302 302 302 302 302 302 302 302"),
    "letter_list": ("get", {}, "200 200 200 200 200 200 403 302"),
    "letter_file": ("get", {"number": "{letter}"}, "200 200 200 404 200 404 404 302"),
    "letter_retry": ("post", {"number": "{letter}"}, "302 302 403 403 403 403 403 302"),
    "letter_detail": ("get", {"number": "{letter}"}, "200 200 200 404 200 404 403 302"),
    "letter_send": (
        "post",
        {"number": "{letter}", "way": "post"},
        "302 302 403 403 403 403 403 302",
    ),
    "letter_withdraw": (
        "post",
        {"number": "{letter}", "pk": "0"},
        "404 404 403 403 403 403 403 302",
    ),
    "letter_correct": ("get", {"number": "{letter}"}, "200 200 403 403 403 403 403 302"),
    "letter_case": ("get", {"number": "{letter}"}, "302 302 302 404 403 403 403 302"),
    "letter_list_export": ("get", {}, "200 200 200 200 200 200 403 302"),
    "person_list_export": ("get", {}, MANAGER),
    "access_log_export": ("get", {}, MANAGER),
    "firm_list_export": ("get", {}, MANAGER),
    "client_home": ("get", {}, "403 403 403 403 200 200 403 302"),
    "own_contact": ("get", {}, "403 403 403 403 200 200 403 302"),
    "prepare": ("get", {}, EVERYONE_IN),
    "glossary": ("get", {}, EVERYONE_IN),
    # Links by e-mail show one letter to whoever holds them; this one is nobody's.
    "letter_link": ("get", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    "letter_link_file": ("get", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    # Whoever holds a letter can check it; a file that was not sent is no file.
    "letter_check": ("get", {}, ANYBODY),
    "letter_check_file": ("post", {}, "422 422 422 422 422 422 422 422"),
    "case_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "case_detail": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "letter_issue": (
        "post",
        {"reference": "{case}", "kind": "outcome"},
        "302 302 403 403 403 403 403 302",
    ),
    "plan_make_offer": ("get", {"reference": "{case}"}, "200 200 403 403 403 403 403 302"),
    "plan_offer": ("get", {"pk": "{plan}"}, "200 200 200 404 200 404 403 302"),
    "plan_decide": ("post", {"pk": "{plan}"}, "422 422 403 403 422 404 403 302"),
    "plan_ask": ("post", {"pk": "{plan}"}, "403 403 403 403 422 404 403 302"),
    # Links by e-mail show one plan to whoever holds them; this one is nobody's.
    "plan_link": ("get", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    "plan_link_decide": ("post", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    "plan_link_ask": ("post", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    # Works: an electrician sees the sent orders of their own firm.
    "case_works": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "orders_make": ("get", {"reference": "{case}"}, "200 200 403 403 403 403 403 302"),
    "order_list": ("get", {}, "200 200 200 200 403 403 200 302"),
    "order_list_export": ("get", {}, "200 200 200 200 403 403 200 302"),
    "work_order": ("get", {"pk": "{order}"}, "200 200 200 404 403 403 200 302"),
    "order_document": (
        "get",
        {"pk": "{order}", "file": "{document}"},
        "200 200 200 404 403 403 200 302",
    ),
    "order_edit": ("get", {"pk": "{order}"}, "200 200 403 403 403 403 403 302"),
    "order_send": ("post", {"pk": "{order}"}, "302 302 403 403 403 403 403 302"),
    "order_call_off": ("post", {"pk": "{order}"}, "302 302 403 403 403 403 403 302"),
    "order_answer": ("post", {"pk": "{order}"}, "403 403 403 403 403 403 422 302"),
    # Links by e-mail show one order to whoever holds them; this one is nobody's.
    "order_link": ("get", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    "order_link_answer": ("post", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    "calendar": ("get", {}, "200 200 200 200 403 403 200 302"),
    "calendar_list": ("get", {}, "200 200 200 200 403 403 200 302"),
    "calendar_list_export": ("get", {}, "200 200 200 200 403 403 200 302"),
    "own_calendar": ("get", {}, EVERYONE_IN),
    "own_calendar_act": ("post", {"act": "make"}, "302 302 302 302 302 302 302 302"),
    # The address of a feed shows the calendar of whoever made it; this one is nobody's.
    "calendar_feed": ("get", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    # Its firm and the office propose; who is asked answers. The client is asked in this one.
    "appointment_propose": ("get", {"pk": "{order}"}, "200 200 403 403 403 403 200 302"),
    "appointment_answer": ("get", {"pk": "{appointment}"}, "200 200 403 403 403 403 403 302"),
    "own_appointment_answer": ("get", {"pk": "{appointment}"}, "403 403 403 403 200 404 403 302"),
    "own_appointment_file": ("get", {"pk": "{agreed}"}, "403 403 403 403 200 404 403 302"),
    "appointment_call_off": ("get", {"pk": "{appointment}"}, "200 200 403 403 403 403 200 302"),
    "appointment_file": ("get", {"pk": "{agreed}"}, "200 200 200 404 403 403 200 302"),
    "order_link_appointment": ("get", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    "report_result": (
        "get",
        {"pk": "{order}", "item": "{work_item}"},
        "200 200 403 403 403 403 200 302",
    ),
    "report_value_add": (
        "get",
        {"pk": "{order}", "item": "{work_item}"},
        "200 200 403 403 403 403 200 302",
    ),
    "report_value_remove": (
        "post",
        {"pk": "{order}", "value": "{value}"},
        "302 404 403 403 403 403 404 302",
    ),
    "report_photo": (
        "post",
        {"pk": "{order}", "item": "{work_item}"},
        "302 302 403 403 403 403 302 302",
    ),
    "report_photo_show": (
        "get",
        {"pk": "{order}", "photo": "{photo}"},
        "200 200 200 404 403 403 200 302",
    ),
    "report_sign": ("post", {"pk": "{order}"}, "422 422 403 403 403 403 422 302"),
    "report_again": ("post", {"pk": "{order}"}, "302 302 403 403 403 403 302 302"),
    "report_judge": (
        "post",
        {"pk": "{order}", "report": "{report}", "act": "accept"},
        "302 302 403 403 403 403 403 302",
    ),
    "works_confirm": ("post", {"reference": "{case}"}, "403 403 403 403 302 404 403 302"),
    "test_instruments": ("get", {}, "403 403 403 403 403 403 200 302"),
    "test_instrument_add": ("get", {}, "403 403 403 403 403 403 200 302"),
    "test_instrument_edit": (
        "get",
        {"pk": "{test_instrument}"},
        "403 403 403 403 403 403 200 302",
    ),
    "draft_make": (
        "post",
        {"reference": "{case}", "kind": "outcome"},
        "302 302 302 404 403 403 403 302",
    ),
    "draft_detail": ("get", {"pk": "{draft}"}, "200 200 200 404 403 403 403 302"),
    "draft_file": ("get", {"pk": "{draft}"}, "200 200 200 404 403 403 403 302"),
    "case_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "case_history": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "case_show": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "case_spot": (
        "get",
        {"reference": "{case}", "spot": "{spot}", "measurand": "electric-field-ground"},
        "200 200 200 404 403 403 403 302",
    ),
    # The plan of a case: prices are for office and assessor alone.
    "case_plan": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "case_plan_export": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "plan_choice": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "plan_choose": ("post", {"reference": "{case}"}, "302 302 302 404 403 403 403 302"),
    "plan_compute": ("post", {"reference": "{case}"}, "302 302 302 404 403 403 403 302"),
    "plan_put_in": ("post", {"reference": "{case}"}, "302 302 302 404 403 403 403 302"),
    "plan_item_add": (
        "get",
        {"reference": "{case}", "kind": "demand-switch"},
        "200 200 200 404 403 403 403 302",
    ),
    "plan_item_edit": (
        "get",
        {"reference": "{case}", "pk": "{item}"},
        "200 200 200 404 403 403 403 302",
    ),
    "plan_item_remove": (
        "post",
        {"reference": "{case}", "pk": "{item}"},
        "302 404 404 404 403 403 403 302",
    ),
    "plan_drafts": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "plan_draft_keep": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "plan_draft_remove": (
        "post",
        {"reference": "{case}", "pk": "{version}"},
        "302 404 404 404 403 403 403 302",
    ),
    "desk": ("get", {}, "200 200 200 200 403 403 403 302"),
    "desk_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "case_detail_export": ("get", {"reference": "{case}"}, "200 200 200 404 403 403 403 302"),
    "upload": ("get", {}, "200 200 200 200 403 403 403 302"),
    "upload_template": ("get", {}, "200 200 200 200 403 403 403 302"),
    # Not even a manager sees what somebody else has not confirmed.
    "upload_preview": ("get", {"token": "{upload}"}, "404 200 404 404 403 403 403 302"),
    "upload_act": (
        "post",
        {"token": "{upload}", "act": "confirm"},
        "404 302 404 404 403 403 403 302",
    ),
    # An assessor's, with a certificate that the register does not have.
    "upload_decide": ("get", {"token": "{for_office}"}, OFFICE),
    "case_export": (
        "get",
        {"reference": "{case}", "form": "zip"},
        "200 200 200 404 403 403 403 302",
    ),
    "client_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "client_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "client_add": ("get", {}, OFFICE),
    "client_detail": ("get", {"pk": "{client}"}, "200 200 200 404 403 403 403 302"),
    "client_edit": ("get", {"pk": "{client}"}, OFFICE),
    "client_merge": ("get", {"pk": "{client}"}, OFFICE),
    "contact_add": ("get", {"pk": "{client}"}, OFFICE),
    "contact_edit": ("get", {"pk": "{contact}"}, OFFICE),
    "contact_remove": ("post", {"pk": "{contact}"}, "302 404 403 403 403 403 403 302"),
    "property_add": ("get", {"pk": "{client}"}, OFFICE),
    "property_edit": ("get", {"pk": "{home}"}, OFFICE),
    "case_open": ("get", {"pk": "{home}"}, OFFICE),
    "case_edit": ("get", {"reference": "{case}"}, OFFICE),
    "enquiry_edit": ("get", {"reference": "{case}"}, OFFICE),
    "medical_device_withdraw": (
        "post",
        {"reference": "{case}"},
        "302 302 403 403 403 403 403 302",
    ),
    "case_skip": ("get", {"reference": "{case}", "seen": "findings", "to": "closed"}, OFFICE),
    "visit_plan": ("get", {"reference": "{case}"}, OFFICE),
    "visit_call_off": ("get", {"reference": "{case}", "pk": "{visit}"}, OFFICE),
    "case_act": (
        "post",
        {"reference": "{case}", "act": "hold"},
        "302 302 403 404 403 403 403 302",
    ),
    "note_add": ("post", {"reference": "{case}"}, "302 302 302 404 403 403 403 302"),
    "file_attach": ("post", {"reference": "{case}"}, "302 302 302 404 403 403 403 302"),
    "attachment": ("get", {"pk": "{attachment}"}, "200 200 200 404 403 403 403 302"),
    "attachment_picture": ("get", {"pk": "{photograph}"}, "200 200 200 404 403 403 403 302"),
    "attachment_sketch": (
        "post",
        {"pk": "{photograph}"},
        "302 302 302 404 403 403 403 302",
    ),
    "attachment_remove": ("post", {"pk": "{attachment}"}, "302 302 302 404 403 403 403 302"),
    "own_account": ("get", {}, "200 200 200 200 200 200 200 302"),
    "own_language": ("post", {}, "422 422 422 422 422 422 422 302"),
    "person_list": ("get", {}, MANAGER),
    "person_invite": ("get", {}, MANAGER),
    "person_detail": ("get", {"pk": "{person}"}, MANAGER),
    "person_act": (
        "post",
        {"pk": "{person}", "act": "reactivate"},
        "302 403 403 403 403 403 403 302",
    ),
    "access_log": ("get", {}, MANAGER),
    "invitation": ("get", {"token": "no-token"}, "410 410 410 410 410 410 410 410"),
    "practice": ("get", {}, MANAGER),
    "person_data": ("get", {"whose": "client", "pk": "{client}"}, OFFICE),
    "person_erase": ("get", {"whose": "client", "pk": "{client}"}, MANAGER),
    "data_package": ("get", {"token": "{copy}"}, OFFICE),
    "data_request_answer": ("post", {"pk": "{wish}"}, "302 302 403 403 403 403 403 302"),
    "own_data": ("get", {}, "403 403 403 403 200 200 403 302"),
    "retention": ("get", {}, MANAGER),
    "erasure_list": ("get", {}, MANAGER),
    "erasure_list_export": ("get", {}, MANAGER),
    "firm_list": ("get", {}, MANAGER),
    "firm_add": ("get", {}, MANAGER),
    "firm_edit": ("get", {"pk": "{firm}"}, MANAGER),
    # Visits, readings and registers: the cast's visits are sealed, so entries are refused.
    "visit_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "visit_detail": ("get", {"pk": "{visit}"}, "200 200 200 404 403 403 403 302"),
    "remedy_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "remedy_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    # Figures of all homes are for the whole practice; which home it is, for who may open its case.
    "evidence_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "evidence_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "evidence_renew": ("post", {}, "302 302 302 302 403 403 403 302"),
    "promise_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "promise_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "client_evidence": ("get", {}, "403 403 403 403 200 200 403 302"),
    "remedy_add": ("get", {}, MANAGER),
    "remedy_edit": ("get", {"pk": "1"}, MANAGER),
    "remedy_follow": ("get", {"pk": "1"}, MANAGER),
    "trial_walk": ("get", {"pk": "{visit}"}, "200 200 200 404 403 403 403 302"),
    "visit_sheet": ("get", {"pk": "{visit}"}, "200 200 200 404 403 403 403 302"),
    "visit_edit": ("get", {"pk": "{visit}"}, "200 200 200 404 403 403 403 302"),
    "reading_add": ("post", {"pk": "{visit}"}, "422 422 422 404 403 403 403 302"),
    # A part of the visit's page; asked for as a page it leads to that page.
    "reading_fields": ("get", {"pk": "{visit}"}, "302 302 302 404 403 403 403 302"),
    "ground_check_add": ("post", {"pk": "{visit}"}, "422 422 422 404 403 403 403 302"),
    "spot_add": ("post", {"pk": "{visit}"}, "422 422 422 404 403 403 403 302"),
    "ground_point_add": ("post", {"pk": "{visit}"}, "422 422 422 404 403 403 403 302"),
    "visit_words": ("get", {"pk": "{visit}"}, "200 200 200 404 403 403 403 302"),
    "visit_seal": ("post", {"pk": "{visit}"}, "302 302 302 404 403 403 403 302"),
    "reading_detail": ("get", {"pk": "{reading}"}, "200 200 200 404 403 403 403 302"),
    "reading_correct": ("get", {"pk": "{reading}"}, "200 200 200 404 403 403 403 302"),
    "reading_set_aside": ("post", {"pk": "{reading}"}, "422 422 422 404 403 403 403 302"),
    "instrument_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "instrument_add": ("get", {}, "200 200 403 403 403 403 403 302"),
    "instrument_detail": ("get", {"pk": "{instrument}"}, "200 200 200 200 403 403 403 302"),
    "instrument_edit": ("get", {"pk": "{instrument}"}, "200 200 403 403 403 403 403 302"),
    "calibration_add": ("get", {"pk": "{instrument}"}, "200 200 403 403 403 403 403 302"),
    # Sealed readings stand on it, so it goes back to its instrument.
    "calibration_edit": ("get", {"pk": "{calibration}"}, "302 302 403 403 403 403 403 302"),
    "guideline_list": ("get", {}, "200 200 200 200 403 403 403 302"),
    "guideline_add": ("get", {}, "200 200 403 403 403 403 403 302"),
    "guideline_remove": ("post", {"code": "SBM-2015"}, "302 302 403 403 403 403 403 302"),
    "placement": ("get", {}, "200 200 200 200 403 403 403 302"),
    "circuit_add": ("get", {"pk": "{home}"}, "200 200 200 404 403 403 403 302"),
    "circuit_edit": ("get", {"pk": "{circuit}"}, "200 200 200 404 403 403 403 302"),
    "circuit_remove": ("post", {"pk": "{circuit}"}, "302 404 404 404 403 403 403 302"),
    "appliance_add": ("get", {"pk": "{home}"}, "200 200 200 404 403 403 403 302"),
    "appliance_edit": ("get", {"pk": "{appliance}"}, "200 200 200 404 403 403 403 302"),
    "appliance_remove": ("post", {"pk": "{appliance}"}, "302 404 404 404 403 403 403 302"),
    "panel_edit": ("get", {"pk": "{panel}"}, "200 200 200 404 403 403 403 302"),
    # It has a circuit, so it stays.
    "panel_remove": ("post", {"pk": "{panel}"}, "302 302 302 404 403 403 403 302"),
    "ground_check_correct": ("get", {"pk": "{check}"}, "200 200 200 404 403 403 403 302"),
    "visit_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "visit_detail_export": ("get", {"pk": "{visit}"}, "200 200 200 404 403 403 403 302"),
    "instrument_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "instrument_detail_export": (
        "get",
        {"pk": "{instrument}"},
        "200 200 200 200 403 403 403 302",
    ),
    "guideline_list_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "placement_export": ("get", {}, "200 200 200 200 403 403 403 302"),
    "place_list": ("get", {"pk": "{home}"}, "200 200 200 404 403 403 403 302"),
    "place_list_export": ("get", {"pk": "{home}"}, "200 200 200 404 403 403 403 302"),
    "room_edit": ("get", {"pk": "{room}"}, "200 200 200 404 403 403 403 302"),
    "spot_edit": ("get", {"pk": "{spot}"}, "200 200 200 404 403 403 403 302"),
    # (end of visits, readings and registers)
    # The log-in library's own pages: they show nothing of the practice.
    "account_login": ("get", {}, "302 302 302 302 302 302 302 200"),
    "account_logout": ("get", {}, "200 200 200 200 200 200 200 302"),
    "account_signup": ("get", {}, "302 302 302 302 302 302 302 200"),
    "account_inactive": ("get", {}, ANYBODY),
    "account_reauthenticate": ("get", {}, "200 200 200 200 200 200 200 302"),
    "account_email": ("get", {}, "302 302 302 302 302 302 302 302"),
    "account_change_password": ("get", {}, "200 200 200 200 200 200 200 302"),
    "account_set_password": ("get", {}, "302 302 302 302 302 302 302 302"),
    "account_reset_password": ("get", {}, ANYBODY),
    "account_reset_password_done": ("get", {}, ANYBODY),
    "account_reset_password_from_key": ("get", {"uidb36": "1", "key": "no-key"}, ANYBODY),
    "account_reset_password_from_key_done": ("get", {}, ANYBODY),
    "account_email_verification_sent": ("get", {}, ANYBODY),
    "account_confirm_login_code": ("get", {}, "302 302 302 302 302 302 302 302"),
    "account_confirm_email": ("get", {"key": "no-key"}, ANYBODY),
    "mfa_index": ("get", {}, EVERYONE_IN),
    "mfa_authenticate": ("get", {}, "302 302 302 302 302 302 302 302"),
    "mfa_reauthenticate": ("get", {}, "302 302 302 302 302 302 302 302"),
    # What changes a log-in asks for the password again.
    "mfa_activate_totp": ("get", {}, "302 302 302 302 302 302 302 302"),
    "mfa_deactivate_totp": ("get", {}, "404 404 404 404 404 404 404 302"),
    "mfa_view_recovery_codes": ("get", {}, "404 404 404 404 404 404 404 302"),
    "mfa_generate_recovery_codes": ("get", {}, "302 302 302 302 302 302 302 302"),
    "mfa_download_recovery_codes": ("get", {}, "404 404 404 404 404 404 404 302"),
    "mfa_list_webauthn": ("get", {}, EVERYONE_IN),
    "mfa_add_webauthn": ("get", {}, "302 302 302 302 302 302 302 302"),
    "mfa_reauthenticate_webauthn": ("get", {}, "302 302 302 302 302 302 302 302"),
    "mfa_remove_webauthn": ("get", {"pk": "1"}, "302 302 302 302 302 302 302 302"),
    "mfa_edit_webauthn": ("get", {"pk": "1"}, "302 302 302 302 302 302 302 302"),
    "mfa_login_webauthn": ("get", {}, "302 302 302 302 302 302 302 302"),
    "usersessions_list": ("get", {}, EVERYONE_IN),
}


def _patterns(resolver: URLResolver) -> Iterator[URLPattern]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            if entry.namespace != "admin":
                yield from _patterns(entry)
        else:
            yield entry


def _admin_paths() -> list[str]:
    names = [
        entry.name
        for entry in get_resolver().url_patterns
        if isinstance(entry, URLResolver) and entry.namespace == "admin"
        for entry in entry.url_patterns
        if isinstance(entry, URLPattern) and entry.name in ("index", "password_change", "jsi18n")
    ]
    models = ["user", "practice", "firm", "client", "property", "assignment"]
    return [reverse(f"admin:{name}") for name in names] + [
        reverse(f"admin:consult_{model}_changelist") for model in models
    ]


def _filled(arguments: dict[str, str], case: Case) -> dict[str, str]:
    """The arguments of a URL with the rows that they name; only those rows are made."""
    named = set(arguments.values())
    letter = ready_letter(case) if "{letter}" in named else None
    upload = _waiting_upload() if "{upload}" in named else None
    values: dict[str, Any] = {
        "letter": letter and letter.number,
        "case": case.reference,
        **_measured(case),
        **_at_the_panel(case, arguments),
        **_ordered(case, named),
        "upload": upload and upload.token,
        "for_office": _upload_for_office().token if "{for_office}" in named else None,
        "copy": _copy(case).token if "{copy}" in named else None,
        "wish": _wish(case).pk if "{wish}" in named else None,
        "client": case.property.client_id,
        "home": case.property_id,
        "contact": _contact(case).pk if "{contact}" in named else None,
        "attachment": _attachment(case).pk if "{attachment}" in named else None,
        "plan": offered_plan(case).pk if "{plan}" in named else None,
        "draft": ready_draft(case).pk if "{draft}" in named else None,
        "item": _plan_item(case).pk if "{item}" in named else None,
        "version": _plan_draft(case).pk if "{version}" in named else None,
        "photograph": _photograph(case).pk if "{photograph}" in named else None,
        "person": User.objects.filter(role="client").values_list("pk", flat=True).first(),
        "firm": Firm.objects.values_list("pk", flat=True).first(),
    }
    return {key: text.format(**values) for key, text in arguments.items()}


def _ordered(case: Case, named: set[str]) -> dict[str, int]:
    """An order to the electrician's firm, with as much of a report as a row asks for."""
    wanted = {
        "{order}", "{work_item}", "{value}", "{photo}", "{report}", "{test_instrument}",
        "{appointment}", "{agreed}", "{document}",
    }  # fmt: skip
    if not wanted & named:
        return {}
    by = User.objects.filter(role="electrician").earliest("pk")
    if WorkOrder.objects.filter(firm=by.firm).exclude(case=case).exists():
        by = UserFactory(role="electrician", firm=FirmFactory())  # a case of others
    if not case.orders.exists():  # what an order has stays; it is passed over in the next one
        case.items.all().delete()
    item = _plan_item(case)
    PlanItem.objects.filter(pk=item.pk).update(state="accepted")
    order = sent_order(case, by.firm)
    row = order.items.get()
    instrument, _ = TestInstrument.objects.get_or_create(firm=order.firm, name="loop tester")
    pks = {"order": order.pk, "work_item": row.pk, "test_instrument": instrument.pk}
    if "{appointment}" in named:
        pks["appointment"] = proposed(order, asked="client").pk
    if "{agreed}" in named:
        pks["agreed"] = proposed(order, asked="").pk
    if named & {"{value}", "{photo}"}:
        keep(order, row, by)
        report = order.reports.get()
        value = TestValue.objects.create(report=report, work_item=row, test="bond", value=0.2)
        photo = WorkPhoto.objects.create(report=report, attachment=_photograph(case))
        pks |= {"value": value.pk, "photo": photo.pk}
    if "{document}" in named:
        document = _attachment(case)
        order.documents.add(document)
        pks["document"] = document.pk
    if "{report}" in named:
        pks["report"] = reported(order, by).pk
    return pks


def _plan_item(case: Case) -> PlanItem:
    by, remedy = User.objects.get(is_manager=True), Remedy.objects.get(key="bonded-shield")
    return add_item(case=case, by=by, remedy=remedy, cost=400)


def _plan_draft(case: Case) -> PlanDraft:
    by, now = User.objects.get(is_manager=True), timezone.now()
    return keep_draft(case=case, by=by, now=now, name="the first", items=[], rows=[])


def _copy(case: Case) -> DataPackage:
    package = ask_package(person=case.property.client, by=None, now=timezone.now())
    run_job(Job.objects.get(key=f"make-package:{package.pk}").pk)
    return package


def _wish(case: Case) -> DataRequest:
    return ask_for_data(client=case.property.client, kind="copy", now=timezone.now())


def _contact(case: Case) -> Contact:
    return Contact.objects.create(client=case.property.client, part="landlord", name="Ada Lehn")


def _attachment(case: Case) -> Attachment:
    return attach_file(
        case=case, name="a.txt", content=ContentFile(b"a"), by=None, now=timezone.now()
    )


def _photograph(case: Case) -> Attachment:
    """A small PNG, cleaned."""
    data = bytes.fromhex(
        "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b55"
        "0000000a49444154789c636800000082008177cd72b60000000049454e44ae426082"
    )
    row = attach_file(
        case=case, name="a.png", content=ContentFile(data), by=None, now=timezone.now()
    )
    if row.state == Attachment.State.CLEANING:
        assert run_job(Job.objects.get(key=f"{attachments.CLEAN_PICTURE}:{row.pk}").pk)
    return row


def _waiting_upload() -> PendingUpload:
    owner = User.objects.get(role="office", is_manager=False)
    return keep_upload(upload=as_zip(), by=owner, now=timezone.now())


def _upload_for_office() -> PendingUpload:
    """What an assessor uploaded, checked: an instrument of it is known already."""
    owner = User.objects.filter(role="assessor").earliest("pk")
    Instrument.objects.get_or_create(name="Probe E")
    upload = keep_upload(upload=as_zip(), by=owner, now=timezone.now())
    assert run_job(Job.objects.get(key=f"{uploads.CHECK_UPLOAD}:{upload.token}").pk)
    return upload


def _at_the_panel(case: Case, arguments: dict[str, str]) -> dict[str, int]:
    """A panel with a circuit that nothing names, and an appliance, where a row asks for them."""
    if not {"{panel}", "{circuit}", "{appliance}"} & set(arguments.values()):
        return {}
    panel, _ = Panel.objects.get_or_create(property=case.property, name="panel")
    circuit, _ = Circuit.objects.get_or_create(panel=panel, name="F1")
    appliance, _ = Appliance.objects.get_or_create(property=case.property, name="lamp")
    return {"panel": panel.pk, "circuit": circuit.pk, "appliance": appliance.pk}


def _measured(case: Case) -> dict[str, int]:
    """The keys of what was measured at the case's baseline."""
    visit = case.visits.order_by("date")[0]
    reading = visit.readings.get()
    point = GroundPoint.objects.get_or_create(property=case.property, name="water pipe")[0]
    check = GroundCheck.objects.get_or_create(visit=visit, point=point)[0]
    return {"visit": visit.pk, "reading": reading.pk, "calibration": reading.calibration_id or 0,
            "instrument": reading.instrument_id, "check": check.pk, "spot": reading.spot_id,
            "room": reading.spot.room_id}  # fmt: skip


def test_every_url_has_a_row() -> None:
    names = {pattern.name for pattern in _patterns(get_resolver())}
    assert names == set(MATRIX)


@pytest.mark.parametrize("part", range(PARTS))
def test_what_each_of_the_cast_gets(part) -> None:
    """One cast for several pages; what a page changes is taken back before the next."""
    cast = make_cast()
    cookies = {}
    for asker in ASKERS:
        browser = Browser()
        cast.log_in(browser, asker)
        cookies[asker] = {name: kept.value for name, kept in browser.cookies.items()}
    names = sorted(MATRIX)[part::PARTS]
    statuses = {}
    for name in names:
        mark = transaction.savepoint()
        statuses[name] = dict(_statuses(name, Case.objects.get(pk=cast.case.pk), cookies))
        transaction.savepoint_rollback(mark)
    assert statuses == {
        name: dict(zip(ASKERS, map(int, MATRIX[name][2].split()), strict=True)) for name in names
    }


OF_ORDERS = ("{order}", "{appointment}", "{agreed}", "{test_instrument}")


def test_an_electrician_of_another_firm_finds_nothing_of_an_order() -> None:
    cast = make_cast()
    browser = Browser()
    other = UserFactory(role=User.Role.ELECTRICIAN, firm=FirmFactory())
    browser.force_login(other)
    of_orders = {name: row for name, row in MATRIX.items() if set(row[1].values()) & set(OF_ORDERS)}
    assert len(of_orders) > 15
    for name, (method, arguments, expected) in of_orders.items():
        own = expected.split()[ASKERS.index("its electrician")]
        mark = transaction.savepoint()
        case = Case.objects.get(pk=cast.case.pk)
        url = reverse(name, kwargs=_filled(arguments, case))
        status = getattr(browser, method)(url).status_code
        assert status == 404 or (status == 403 and own == "403"), name
        transaction.savepoint_rollback(mark)


def _statuses(
    name: str, case: Case, cookies: dict[str, dict[str, str]]
) -> Iterator[tuple[str, int]]:
    """What each asker gets from the page, one after the other."""
    method, arguments, _expected = MATRIX[name]
    url = reverse(name, kwargs=_filled(arguments, case))
    for asker in ASKERS:
        browser = Browser()
        browser.cookies.load(cookies[asker])
        answer = getattr(browser, method)(url)
        if answer.get("Content-Type", "").startswith("text/html"):  # the policy lets none through
            assert not INLINE_STYLE.search(answer.content), name
        if answer.streaming:
            assert b"".join(answer)  # to its end, which closes the file
        yield asker, answer.status_code


def test_the_admin_is_for_who_runs_the_practice(client) -> None:
    cast = make_cast()
    for path in _admin_paths():
        for asker in ASKERS:
            client.logout()
            cast.log_in(client, asker)
            status = client.get(path).status_code
            # The library answers 403 to somebody who is logged in, and the log-in page to nobody.
            assert (status == 200) == (asker == "manager"), (path, asker, status)
            assert status in (200, 302, 403)


def test_people_are_not_changed_in_the_admin(client) -> None:
    """There no session would end and nothing be logged, and a manager could lock themselves out."""
    cast = make_cast()
    cast.log_in(client, "manager")
    person = cast.people["its assessor"]
    page = reverse("admin:consult_user_change", args=[person.pk])
    assert person.password not in client.get(page).content.decode()
    assert client.post(page, {"email": "x@example.org", "name": "X"}).status_code == 403
    assert client.get(reverse("admin:consult_user_add")).status_code == 403
    word = reverse("admin:auth_user_password_change", args=[person.pk])
    assert client.get(word).status_code == 403


@pytest.mark.parametrize(
    "name",
    [
        "letter_retry",
        "letter_issue",
        "draft_make",
        "upload_act",
        "case_act",
        "plan_choose",
        "plan_put_in",
        "letter_send",
        "person_act",
        "own_language",
    ],
)
def test_actions_answer_to_post_alone(name, client) -> None:
    cast = make_cast()
    _method, arguments, _expected = MATRIX[name]
    filled = _filled(arguments, cast.case)
    cast.log_in(client, "office")
    assert client.get(reverse(name, kwargs=filled)).status_code == 405


def test_pages_of_a_person_are_not_kept_by_a_cache(client) -> None:
    cast = make_cast()
    cast.log_in(client, "office")
    assert client.get(reverse("case_list"))["Cache-Control"] == "no-store, private"


def test_a_client_does_not_see_a_letter_that_is_not_ready(client) -> None:
    cast = make_cast()
    letter = ready_letter(cast.case)
    cast.log_in(client, "its client")
    assert letter.number in client.get(reverse("letter_list")).content.decode()
    Letter.objects.filter(pk=letter.pk).update(state=Letter.State.QUEUED)
    assert letter.number not in client.get(reverse("letter_list")).content.decode()
    assert client.get(reverse("letter_file", args=[letter.number])).status_code == 404
