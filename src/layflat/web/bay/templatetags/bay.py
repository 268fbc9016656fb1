"""A tab's own template with its own values: two tabs may use the same names."""

from django import template
from django.template.base import Template
from django.template.context import Context
from django.template.loader import get_template
from django.utils.safestring import SafeString, mark_safe

from layflat.web.bay.page import Tab

register = template.Library()


@register.simple_tag(takes_context=True)
def shown(context: Context, tab: Tab) -> SafeString:
    """What a tab shows; it sees the page's own values, too."""
    found: Template = get_template(tab.part.template).template  # type: ignore[attr-defined]
    with context.push(**tab.values):
        # The template has escaped what people wrote.
        return mark_safe(found.render(context))
