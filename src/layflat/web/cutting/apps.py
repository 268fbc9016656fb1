"""This part as Django knows it."""

from django.apps import AppConfig


class CuttingConfig(AppConfig):
    """Layouts on real stock, and cutting them in sections."""

    name = "layflat.web.cutting"
    label = "cutting"
