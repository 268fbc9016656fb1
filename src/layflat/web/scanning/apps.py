"""Django's entry to this part."""

from django.apps import AppConfig


class ScanningConfig(AppConfig):
    """The scan bench."""

    name = "layflat.web.scanning"
    label = "scanning"
