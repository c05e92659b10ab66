"""People and registers for who runs the practice."""

from typing import Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.models import Group
from django.http import HttpRequest
from simple_history.admin import SimpleHistoryAdmin

from consult.models import Assignment, Client, Firm, Practice, Property, User

admin.site.unregister(Group)
admin.site.site_header = "Ebbmark"


class ManagedAdmin(SimpleHistoryAdmin):  # type: ignore[misc]  # untyped library
    """Whoever runs the practice may change registers; nothing is deleted here."""

    def has_module_permission(self, request: HttpRequest) -> bool:
        return self.has_view_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return bool(getattr(request.user, "is_manager", False))

    has_change_permission = has_view_permission

    def has_add_permission(self, request: HttpRequest) -> bool:
        return self.has_view_permission(request)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(User)
class PeopleAdmin(ManagedAdmin, UserAdmin):  # type: ignore[type-arg]  # generic in the stub alone
    list_display = ["name", "email", "role", "firm", "is_active"]
    list_filter = ["role", "is_active"]
    search_fields = ["name", "email"]
    ordering = ["name"]
    filter_horizontal = ()
    fieldsets = [
        (None, {"fields": ["email", "name"]}),
        ("Role", {"fields": ["role", "is_manager", "firm", "language", "is_active"]}),
    ]

    def has_add_permission(self, request: HttpRequest) -> bool:
        """People are changed on their pages: sessions end there, and the log is written."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Practice)
class PracticeAdmin(ManagedAdmin):
    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


@admin.register(Firm)
class FirmAdmin(ManagedAdmin):
    list_display = ["name", "licence", "phone"]


@admin.register(Client)
class ClientAdmin(ManagedAdmin):
    list_display = ["name", "email", "language"]
    search_fields = ["name", "email"]
    autocomplete_fields = ["user"]


@admin.register(Property)
class PropertyAdmin(ManagedAdmin):
    list_display = ["__str__", "client", "country"]
    search_fields = ["address", "client__name"]
    autocomplete_fields = ["client"]


@admin.register(Assignment)
class AssignmentAdmin(ManagedAdmin):
    list_display = ["property", "user"]
    autocomplete_fields = ["property", "user"]
