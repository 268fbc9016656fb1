"""This part as Django knows it."""

from django.apps import AppConfig


class HandbackConfig(AppConfig):
    """Handing back: pictures, signature, passport, follow-up visit."""

    name = "layflat.web.handback"
    label = "handback"
