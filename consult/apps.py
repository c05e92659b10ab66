from django.apps import AppConfig


class ConsultConfig(AppConfig):
    name = "consult"
