"""This part as Django knows it."""

from django.apps import AppConfig


class CuttingConfig(AppConfig):
    """Layouts on real stock, and cutting them in sections."""

    name = "layflat.web.cutting"
    label = "cutting"

    def ready(self) -> None:
        """Enter what is tapped at the plotter, what a job's page shows, what sending back does."""
        from layflat.web.cutting import (
            acts,  # noqa: F401 - entering its acts is all it is for
            on_roll,
            to_buy,
        )
        from layflat.web.cutting.account import pieces_of_mm2
        from layflat.web.cutting.on_job import read
        from layflat.web.cutting.sent_back import let_go
        from layflat.web.cutting.step import when_planned
        from layflat.web.gates import planning
        from layflat.web.jobs.additions import Section, add_section
        from layflat.web.jobs.models import Stage
        from layflat.web.jobs.stages import when_sent_back
        from layflat.web.stock.additions import (
            Addition,
            ListAddition,
            add_to_list,
            measure_pieces,
        )
        from layflat.web.stock.additions import add as add_to_roll

        add_to_roll(Addition(template="cutting/on_stock_roll.html", read=on_roll.read))
        add_to_list(ListAddition(template="cutting/to_buy.html", read=to_buy.read))
        measure_pieces(pieces_of_mm2)
        add_section(Section(template="cutting/on_job.html", read=read, is_work=True))
        when_sent_back(Stage.ACCEPTED, let_go)
        planning.when_planned(when_planned)
