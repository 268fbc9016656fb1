"""This part as Django knows it."""

from django.apps import AppConfig


class SendingConfig(AppConfig):
    """The shop's machines, and sending sections to them."""

    name = "layflat.web.sending"
    label = "sending"

    def ready(self) -> None:
        """Show on a layout's page how its sections are sent, and keep them from being changed.

        A shop's only machine gets programs of its own as soon as a layout is kept.
        """
        from layflat.web.cutting.additions import Addition, add
        from layflat.web.sending.on_layout import read
        from layflat.web.sending.prepared import prepare_for_the_only_machine
        from layflat.web.sending.standing import was_begun, why_busy

        add(
            Addition(
                template="sending/on_section.html",
                read=read,
                why_busy=why_busy,
                was_begun=was_begun,
                when_kept=prepare_for_the_only_machine,
            )
        )
