"""Every address of the app, and who may open it."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any, Final

from django.urls import URLPattern, URLResolver, get_resolver, reverse

from layflat.web.people.models import Role


class Who(Enum):
    """Who an address is for; nobody else may open it."""

    ALL = (None, *Role)
    SHOP = tuple(Role)
    COUNTER = (Role.COUNTER, Role.OWNER)
    INSTALLER = (Role.INSTALLER, Role.OWNER)
    OWNER = (Role.OWNER,)


@dataclass(frozen=True)
class Row:
    """How an address answers those it is for.

    Attributes:
        who: whom it is for.
        looked_at: status when it is opened; 405 where only forms go to.
        takes: whether forms go there.
    """

    who: Who
    looked_at: int = 200
    takes: bool = False


@dataclass(frozen=True)
class Place:
    """An address with all that it and others of its job need."""

    name: str
    values: Mapping[str, Any]

    @property
    def address(self) -> str:
        pattern = patterns()[self.name]
        return reverse(self.name, kwargs={key: self.values[key] for key in pattern})


def read_whole(answer: Any) -> None:
    """Read an answer that is sent piece by piece to its end, so that its file is closed."""
    if answer.streaming:
        for _ in answer.streaming_content:
            pass


def patterns() -> dict[str, tuple[str, ...]]:
    """The names of all addresses with the names of their arguments."""
    found: dict[str, tuple[str, ...]] = {}

    def walk(entries: list[URLPattern | URLResolver], space: str, outer: tuple[str, ...]) -> None:
        for entry in entries:
            names = (*outer, *entry.pattern.converters)
            if isinstance(entry, URLResolver):
                walk(entry.url_patterns, entry.namespace or space, names)
            else:
                found[f"{space}:{entry.name}"] = names

    walk(get_resolver().url_patterns, "", ())
    return found


def _looks(who: Who, *names: str, takes: bool = False) -> dict[str, Row]:
    return {name: Row(who, takes=takes) for name in names}


def _acts(who: Who, *names: str) -> dict[str, Row]:
    return {name: Row(who, looked_at=405, takes=True) for name in names}


TABLE: Final[dict[str, Row]] = {
    **_looks(Who.ALL, "links:picture", "offer:for-you-pdf", "offer:for-you-file"),
    **_looks(Who.ALL, "links:warnings", "offer:for-you", "people:sign-in", takes=True),
    # Once there is a shop it leads to signing in.
    "people:first-start": Row(Who.ALL, looked_at=302, takes=True),
    **_looks(
        Who.SHOP,
        "bay:bay",
        "bay:worker",
        "board:board",
        "board:cards",
        "bodies:body",
        "bodies:library",
        "bodies:light",
        "bodies:lines",
        "bodies:picture",
        "bodies:revision",
        "patterns:of-body",
        "patterns:pattern",
        "patterns:picture",
        "cover:choose",
        "cover:compare",
        "cover:cover",
        "cover:layout",
        "cover:part",
        "cover:picture",
        "finding:find",
        "finding:lot",
        "fit:fit",
        "fit:flat",
        "fit:lines",
        "fit:map",
        "fit:plan",
        "fit:picture",
        "fit:piece",
        "fit:surface",
        "fit:vehicle",
        "jobs:find",
        "jobs:history",
        "jobs:job",
        "jobs:picture",
        "jobs:walk-round",
        "jobs:workshop",
        "inspection:picture",
        "laying:mixes",
        "laying:picture",
        "diary:booking",
        "diary:calendar",
        "gates:plan",
        "stock:label",
        "stock:roll",
        "stock:stock",
        "work:list",
        "work:progress",
    ),
    **_looks(
        Who.SHOP,
        "cutting:film",
        "cutting:labels",
        "cutting:layout",
        "cutting:program",
        "cutting:shapes",
        "cutting:simulated",
        "cutting:so-far",
        "cutting:weeding",
    ),
    **_looks(Who.INSTALLER, "cutting:by-hand", "cutting:by-hand-outlines"),
    **_acts(Who.INSTALLER, "cutting:by-hand-keep", "cutting:by-hand-search"),
    **_acts(Who.INSTALLER, "cutting:begin", "cutting:drop", "cutting:keep"),
    "sending:section": Row(Who.SHOP),
    # While a sending goes on it shows how far it is; else the page is asked for anew.
    "sending:live": Row(Who.SHOP, looked_at=204),
    **_acts(
        Who.INSTALLER,
        "sending:begin",
        "sending:correct",
        "sending:find-out",
        "sending:go-on",
        "sending:looked-at",
        "sending:prepare",
        "sending:read",
        "sending:wish",
    ),
    "sending:machines": Row(Who.OWNER),
    **_looks(Who.OWNER, "sending:machine", "sending:new-machine", takes=True),
    **_acts(Who.OWNER, "sending:is-there", "sending:put-away"),
    **_looks(Who.COUNTER, "stock:receive", takes=True),
    **_acts(
        Who.SHOP,
        "stock:correct",
        "stock:discard",
        "stock:fault",
        "stock:fault-gone",
        "stock:fault-right",
        "stock:fault-there",
        "stock:not-kept",
        "stock:offcut",
        "stock:place",
        "stock:release",
    ),
    **_acts(Who.OWNER, "stock:cost"),
    **_acts(Who.COUNTER, "stock:rename"),
    **_looks(Who.SHOP, "week:plan", "week:week"),
    # While a plan is searched for nothing is there; then its page is asked for anew.
    "week:ready": Row(Who.SHOP, looked_at=204),
    **_acts(Who.COUNTER, "week:begin", "week:drop", "week:keep"),
    "diary:feed": Row(Who.ALL),
    **_looks(Who.SHOP, "gates:tools", "diary:feeds", takes=True),
    **_acts(Who.SHOP, "diary:revoke"),
    **_looks(Who.COUNTER, "diary:job", "diary:new", "diary:settings", takes=True),
    **_acts(Who.COUNTER, "diary:change", "diary:hours", "diary:out", "diary:place"),
    **_acts(Who.SHOP, "gates:conditions"),
    **_acts(Who.COUNTER, "gates:confirm"),
    **_looks(Who.OWNER, "gates:templates"),
    **_looks(Who.OWNER, "gates:new-template", "gates:template", takes=True),
    **_acts(
        Who.OWNER,
        "gates:move-template",
        "gates:put-template-back",
        "gates:retire-template",
        "gates:retire-tool",
    ),
    **_looks(Who.COUNTER, "exchanging:file", "exchanging:give"),
    **_looks(Who.COUNTER, "exchanging:bring", "exchanging:received", takes=True),
    **_acts(Who.OWNER, "exchanging:know"),
    **_looks(Who.COUNTER, "shaping:drawing", "shaping:found", "shaping:other-car", takes=True),
    **_looks(Who.COUNTER, "shaping:read"),
    **_looks(Who.COUNTER, "shaping:edges"),
    **_acts(Who.COUNTER, "shaping:anew", "shaping:answer", "shaping:change", "shaping:keep"),
    "shaping:ready": Row(Who.COUNTER, looked_at=204),
    "shaping:found-ready": Row(Who.COUNTER, looked_at=204),
    **_looks(Who.SHOP, "shaping:as-dxf", "shaping:as-svg"),
    **_looks(Who.COUNTER, "tracing:new", takes=True),
    **_looks(Who.COUNTER, "tracing:plane", "tracing:template"),
    **_looks(Who.SHOP, "tracing:frame"),
    **_acts(Who.COUNTER, "tracing:anew", "tracing:drop", "tracing:keep", "tracing:right"),
    "tracing:ready": Row(Who.COUNTER, looked_at=204),
    **_looks(Who.SHOP, "noting:body", "noting:picture", "noting:piece"),
    "noting:ready": Row(Who.SHOP, looked_at=204),
    **_acts(Who.COUNTER, "noting:back", "noting:make", "noting:settle"),
    # While nothing new is there they answer that there is no content.
    "bodies:ready": Row(Who.SHOP, looked_at=204),
    "scanning:ready": Row(Who.COUNTER, looked_at=204),
    "scanning:bench": Row(Who.COUNTER),
    # Nothing lies on the bench.
    "scanning:frame": Row(Who.COUNTER, looked_at=404),
    "scanning:map": Row(Who.COUNTER, looked_at=404),
    "scanning:plain": Row(Who.COUNTER, looked_at=404),
    "fit:ready": Row(Who.SHOP, looked_at=204),
    "fit:two": Row(Who.SHOP, looked_at=405, takes=True),
    "fit:two-ready": Row(Who.SHOP, looked_at=204),
    **_looks(Who.SHOP, "jobs:warnings", "people:password", "taps:list", "taps:tap", takes=True),
    **_acts(
        Who.SHOP,
        "jobs:add-fault",
        "jobs:begin",
        "jobs:close",
        "jobs:put-back",
        "jobs:restore",
        "jobs:withdraw",
        "work:stop",
        "people:sign-out",
        "taps:settle",
    ),
    **_looks(
        Who.COUNTER,
        "jobs:bodies",
        "jobs:customers",
        "jobs:vin",
        "links:links",
        "offer:file",
        "offer:pdf",
        "offer:version",
    ),
    **_looks(
        Who.COUNTER,
        "bodies:edit",
        "bodies:new",
        "bodies:scan",
        # Of wishes; an installer edits who has the job.
        "jobs:edit",
        "jobs:enquiry",
        "offer:offer",
        takes=True,
    ),
    **_acts(
        Who.COUNTER,
        "bodies:retire",
        "bodies:unit",
        "bodies:without-scan",
        "patterns:retire",
        "scanning:begin",
        "scanning:make",
        "scanning:stand",
        "scanning:step",
        "cover:begin",
        "cover:change",
        "cover:compute",
        "cover:copy",
        "cover:drop",
        "cover:rename",
        "cover:retire",
        "cover:save",
        "cover:take-back",
        "cover:trace",
        "jobs:back",
        "jobs:close-job",
        "jobs:reopen",
        "links:make",
        "links:revoke",
        "offer:hear",
    ),
    **_looks(
        Who.ALL,
        "handback:for-you",
        "handback:for-you-pdf",
        "handback:for-you-picture",
        "handback:for-you-record",
    ),
    **_looks(
        Who.SHOP,
        "handback:care",
        "handback:follow-up",
        "handback:hand-back",
        "handback:passport",
        "handback:pdf",
        "handback:picture",
        "handback:record",
        "handback:record-picture",
        "handback:signature",
    ),
    # Opened without a form they lead to their page.
    "handback:give": Row(Who.COUNTER, looked_at=302, takes=True),
    "handback:write": Row(Who.COUNTER, looked_at=302, takes=True),
    **_acts(Who.SHOP, "handback:add-picture", "handback:put-back", "handback:withdraw"),
    **_acts(
        Who.COUNTER,
        "handback:again",
        "handback:agree",
        "handback:call-off",
        "handback:correct",
        "handback:make-link",
    ),
    **_looks(Who.OWNER, "people:people", "people:person", takes=True),
}
"""A new address is entered here by whom it is for, or the tests fail."""
