"""The site with one page more: behind the same middleware, for somebody logged in, and trivial."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import include, path

PAGE = engines["django"].from_string("<!DOCTYPE html><title>Bare</title><p>{{ user.name }}</p>")


@login_required
def bare(request: HttpRequest) -> HttpResponse:
    return HttpResponse(PAGE.render({}, request))


urlpatterns = [path("bare/", bare), path("", include("consult.urls"))]
