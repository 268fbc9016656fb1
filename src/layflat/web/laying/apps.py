"""This part as Django knows it."""

from importlib import import_module

from django.apps import AppConfig


class LayingConfig(AppConfig):
    """Laying the pieces: who, how long, what was hard."""

    name = "layflat.web.laying"
    label = "laying"

    def ready(self) -> None:
        """Enter the acts, and what must be true before the step is done."""
        from layflat.web.gates.doing import done_when
        from layflat.web.gates.elsewhere import done_elsewhere
        from layflat.web.gates.models import Kind
        from layflat.web.laying.bay_tab import where_laid
        from layflat.web.laying.done import why_not_all_laid

        import_module("layflat.web.laying.acts")
        done_when(Kind.LAY, why_not_all_laid)
        done_elsewhere(Kind.LAY, where_laid)
