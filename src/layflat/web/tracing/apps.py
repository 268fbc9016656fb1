"""This part as Django knows it."""

from django.apps import AppConfig


class TracingConfig(AppConfig):
    """Templates by photograph."""

    name = "layflat.web.tracing"
    label = "tracing"
