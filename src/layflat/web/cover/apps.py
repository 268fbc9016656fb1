"""This part as Django knows it."""

from django.apps import AppConfig


class CoverConfig(AppConfig):
    """Covers: what one job covers, its alternatives, and what computing them found."""

    name = "layflat.web.cover"
    label = "cover"
