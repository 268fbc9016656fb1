"""Django's entry to this part."""

from django.apps import AppConfig


class JobsConfig(AppConfig):
    """Jobs from the enquiry on: customer, vehicle, wishes, walk-round."""

    name = "layflat.web.jobs"
    label = "jobs"
