"""Cases and what is proved in them."""

from django.urls import path, re_path

from mitigation.views import (
    attachments,
    case_list,
    cases,
    client_side,
    desk,
    drafts,
    enquiries,
    exports,
    histories,
    letters,
    notes,
    offers,
    spots,
    steering,
    trial_walks,
    upload_decisions,
    uploads,
)

urlpatterns = [
    path("desk/", desk.desk, name="desk"),
    path("desk/list/", exports.desk_export, name="desk_export"),
    path("cases/", case_list.case_list, name="case_list"),
    # No case has a page of this name, so that a case called "all" keeps all of its own.
    path("cases/all/list/", case_list.case_list_export, name="case_list_export"),
    path("uploads/", uploads.upload, name="upload"),
    path("uploads/template/", uploads.upload_template, name="upload_template"),
    path("uploads/<str:token>/", uploads.upload_preview, name="upload_preview"),
    re_path(
        r"^uploads/(?P<token>[\w-]+)/(?P<act>confirm|cancel|retry)/$",
        uploads.upload_act,
        name="upload_act",
    ),
    path("uploads/<str:token>/decide/", upload_decisions.upload_decide, name="upload_decide"),
    path("cases/<str:reference>/export/<str:form>/", uploads.case_export, name="case_export"),
    path(
        "cases/<str:reference>/comparison/", exports.case_detail_export, name="case_detail_export"
    ),
    path(
        "cases/<str:reference>/spots/<int:spot>/<str:measurand>/",
        spots.case_spot,
        name="case_spot",
    ),
    path("your-case/", client_side.client_home, name="client_home"),
    path("properties/<int:pk>/cases/open/", steering.case_open, name="case_open"),
    path("cases/<str:reference>/history/", histories.case_history, name="case_history"),
    path("cases/<str:reference>/show/", cases.case_show, name="case_show"),
    path("cases/<str:reference>/edit/", steering.case_edit, name="case_edit"),
    path("cases/<str:reference>/enquiry/", enquiries.enquiry_edit, name="enquiry_edit"),
    path(
        "cases/<str:reference>/device/withdraw/",
        enquiries.medical_device_withdraw,
        name="medical_device_withdraw",
    ),
    path("cases/<str:reference>/skip/<str:seen>/<str:to>/", steering.case_skip, name="case_skip"),
    path("cases/<str:reference>/visits/plan/", steering.visit_plan, name="visit_plan"),
    path(
        "cases/<str:reference>/visits/<int:pk>/call-off/",
        steering.visit_call_off,
        name="visit_call_off",
    ),
    path("cases/<str:reference>/notes/", notes.note_add, name="note_add"),
    path("cases/<str:reference>/files/", attachments.file_attach, name="file_attach"),
    path("attachments/<int:pk>/", attachments.attachment, name="attachment"),
    path(
        "attachments/<int:pk>/picture/", attachments.attachment_picture, name="attachment_picture"
    ),
    path("attachments/<int:pk>/remove/", attachments.attachment_remove, name="attachment_remove"),
    path("cases/<str:reference>/act/<str:act>/", steering.case_act, name="case_act"),
    path("visits/<int:pk>/trial/", trial_walks.trial_walk, name="trial_walk"),
    path("letters/<str:number>/case/", letters.letter_case, name="letter_case"),
    path("letters/<str:number>/correct/", letters.letter_correct, name="letter_correct"),
    path("cases/<str:reference>/letters/<str:kind>/", cases.letter_issue, name="letter_issue"),
    path("cases/<str:reference>/letters/<str:kind>/draft/", drafts.draft_make, name="draft_make"),
    path("cases/<str:reference>/plan/offer/", offers.plan_make_offer, name="plan_make_offer"),
    path("offers/<int:pk>/", offers.plan_offer, name="plan_offer"),
    path("offers/<int:pk>/decide/", offers.plan_decide, name="plan_decide"),
    path("offers/<int:pk>/ask/", offers.plan_ask, name="plan_ask"),
    path("offers/link/<str:token>/", offers.plan_link, name="plan_link"),
    path("offers/link/<str:token>/decide/", offers.plan_link_decide, name="plan_link_decide"),
    path("offers/link/<str:token>/ask/", offers.plan_link_ask, name="plan_link_ask"),
    path("drafts/<int:pk>/", drafts.draft_detail, name="draft_detail"),
    path("drafts/<int:pk>/file/", drafts.draft_file, name="draft_file"),
    path("cases/<str:reference>/", cases.case_detail, name="case_detail"),
]
