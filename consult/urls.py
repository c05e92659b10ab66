"""The site's table of contents."""

from allauth.account.decorators import secure_admin_login
from django.contrib import admin
from django.urls import include, path

from consult.views import home, letters

admin.site.login = secure_admin_login(admin.site.login)  # type: ignore[method-assign]  # as the library documents

urlpatterns = [
    path("", home.home, name="home"),
    path("work-orders/", home.electrician_home, name="electrician_home"),
    path("letters/", letters.letter_list, name="letter_list"),
    path("letters/<str:number>/pdf/", letters.letter_file, name="letter_file"),
    path("letters/<str:number>/retry/", letters.letter_retry, name="letter_retry"),
    path("", include("mitigation.urls")),
    path("accounts/", include("allauth.account.urls")),
    path("admin/", admin.site.urls),
]
