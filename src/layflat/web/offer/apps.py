"""This part as Django knows it."""

from django.apps import AppConfig


class OfferConfig(AppConfig):
    """Offers: what the customer is asked to accept, and what was accepted."""

    name = "layflat.web.offer"
    label = "offer"

    def ready(self) -> None:
        """Show offers on a job's page, and withdraw an open one when its job is sent back."""
        from layflat.web.jobs.additions import Section, add_section
        from layflat.web.jobs.models import Stage
        from layflat.web.jobs.stages import when_next, when_sent_back
        from layflat.web.offer.accepting import reopened, withdraw_open
        from layflat.web.offer.on_job import next_step, read

        add_section(Section(template="offer/on_job.html", read=read))
        when_next(Stage.COVER, next_step)
        when_sent_back(Stage.OFFERED, withdraw_open)
        when_sent_back(Stage.ACCEPTED, reopened)
