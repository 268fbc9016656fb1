"""Django's entry to this part."""

from django.apps import AppConfig


class BodiesConfig(AppConfig):
    """The library of bodies and panels."""

    name = "layflat.web.bodies"
    label = "bodies"
