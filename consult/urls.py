"""The site's table of contents."""

from allauth.account.decorators import secure_admin_login
from django.contrib import admin
from django.urls import include, path, re_path

from consult.views import (
    client_side,
    clients,
    exports,
    home,
    letter_checks,
    letters,
    people,
    practice,
)
from consult.views.privacy import own_data, person_data, retention

admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]  # as the library documents

urlpatterns = [
    path("", home.home, name="home"),
    path("letters/", letters.letter_list, name="letter_list"),
    path("letters/list/", exports.letter_list_export, name="letter_list_export"),
    path("letters/link/<str:token>/", letters.letter_link, name="letter_link"),
    path("letters/link/<str:token>/pdf/", letters.letter_link_file, name="letter_link_file"),
    path("letters/<str:number>/", letters.letter_detail, name="letter_detail"),
    re_path(
        r"^letters/(?P<number>[^/]+)/send/(?P<way>email|post)/$",
        letters.letter_send,
        name="letter_send",
    ),
    path(
        "letters/<str:number>/links/<int:pk>/withdraw/",
        letters.letter_withdraw,
        name="letter_withdraw",
    ),
    path("letters/<str:number>/pdf/", letters.letter_file, name="letter_file"),
    path("letters/<str:number>/retry/", letters.letter_retry, name="letter_retry"),
    path("check/", letter_checks.letter_check, name="letter_check"),
    path("check/file/", letter_checks.letter_check_file, name="letter_check_file"),
    path("me/", people.own_account, name="own_account"),
    path("me/contact/", client_side.own_contact, name="own_contact"),
    path("prepare/", client_side.prepare, name="prepare"),
    path("words/", client_side.glossary, name="glossary"),
    path("me/language/", people.own_language, name="own_language"),
    path("people/", people.person_list, name="person_list"),
    path("people/list/", exports.person_list_export, name="person_list_export"),
    path("people/invite/", people.person_invite, name="person_invite"),
    path("people/<int:pk>/", people.person_detail, name="person_detail"),
    re_path(
        r"^people/(?P<pk>\d+)/(?P<act>invite|deactivate|reactivate|drop-second-factor)/$",
        people.person_act,
        name="person_act",
    ),
    path("people/log/", people.access_log, name="access_log"),
    path("people/log/list/", exports.access_log_export, name="access_log_export"),
    path("invitation/<str:token>/", people.invitation, name="invitation"),
    path("clients/", clients.client_list, name="client_list"),
    path("clients/list/", clients.client_list_export, name="client_list_export"),
    path("clients/add/", clients.client_add, name="client_add"),
    path("clients/<int:pk>/", clients.client_detail, name="client_detail"),
    path("clients/<int:pk>/edit/", clients.client_edit, name="client_edit"),
    path("clients/<int:pk>/merge/", clients.client_merge, name="client_merge"),
    path("clients/<int:pk>/contacts/add/", clients.contact_add, name="contact_add"),
    path("clients/<int:pk>/properties/add/", clients.property_add, name="property_add"),
    path("contacts/<int:pk>/", clients.contact_edit, name="contact_edit"),
    path("contacts/<int:pk>/remove/", clients.contact_remove, name="contact_remove"),
    path("properties/<int:pk>/", clients.property_edit, name="property_edit"),
    path("me/data/", own_data.own_data, name="own_data"),
    re_path(
        r"^data/(?P<whose>client|person)/(?P<pk>\d+)/$", person_data.person_data, name="person_data"
    ),
    re_path(
        r"^data/(?P<whose>client|person)/(?P<pk>\d+)/erase/$",
        person_data.person_erase,
        name="person_erase",
    ),
    path("data/copies/<str:token>/", person_data.data_package, name="data_package"),
    path(
        "data/wishes/<int:pk>/answer/", person_data.data_request_answer, name="data_request_answer"
    ),
    path("practice/", practice.practice, name="practice"),
    path("retention/", retention.retention, name="retention"),
    path("erasures/", person_data.erasure_list, name="erasure_list"),
    path("practice/erasures/list/", exports.erasure_list_export, name="erasure_list_export"),
    path("firms/", practice.firm_list, name="firm_list"),
    path("firms/list/", exports.firm_list_export, name="firm_list_export"),
    path("firms/add/", practice.firm_add, name="firm_add"),
    path("firms/<int:pk>/", practice.firm_edit, name="firm_edit"),
    path("", include("surveys.urls")),
    path("", include("mitigation.urls")),
    path("accounts/email/", people.closed, name="account_email"),
    path("accounts/", include("allauth.account.urls")),
    path("accounts/2fa/", include("allauth.mfa.urls")),
    path("accounts/sessions/", include("allauth.usersessions.urls")),
    path("admin/", admin.site.urls),
]

handler403 = "consult.views.people.refused"
