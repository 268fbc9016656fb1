"""This part as Django knows it."""

from django.apps import AppConfig


class OfferConfig(AppConfig):
    """Offers: what the customer is asked to accept, and what was accepted."""

    name = "layflat.web.offer"
    label = "offer"

    def ready(self) -> None:
        """Have an open offer withdrawn when its job is sent back."""
        from layflat.web.jobs.models import Stage
        from layflat.web.jobs.stages import when_sent_back
        from layflat.web.offer.accepting import reopened, withdraw_open

        when_sent_back(Stage.OFFERED, withdraw_open)
        when_sent_back(Stage.ACCEPTED, reopened)
