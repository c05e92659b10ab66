from importlib import import_module

from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate, pre_migrate


class ConsultConfig(AppConfig):
    name = "consult"

    def ready(self) -> None:
        """Give SQLite the function that folds words; make kinds of jobs known in every process.

        Guards come off before tables are altered, and on again afterwards.
        """
        folding = import_module("consult.models.folding")
        connection_created.connect(folding.teach_sqlite)
        import_module("consult.tasks")
        guards = import_module("consult.services.guards")
        pre_migrate.connect(guards.before_migrate, sender=self)
        post_migrate.connect(guards.after_migrate, sender=self)
