"""Cases and what is proved in them."""

from django.urls import path

from mitigation.views import cases

urlpatterns = [
    path("cases/", cases.case_list, name="case_list"),
    path("cases/<path:reference>/letters/<str:kind>/", cases.letter_issue, name="letter_issue"),
    path("cases/<path:reference>/", cases.case_detail, name="case_detail"),
]
