"""Django's entry to this part."""

from django.apps import AppConfig


class WorkConfig(AppConfig):
    """Long computations: rows are the truth, Dask computes."""

    name = "layflat.web.work"
    label = "work"
