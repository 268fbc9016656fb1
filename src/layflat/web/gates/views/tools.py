"""The shop's tools, cloths and mitts."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from layflat.base import LayflatError
from layflat.web.gates import tools
from layflat.web.gates.models import Tool, Zone
from layflat.web.gates.views.common import doer
from layflat.web.jobs.once import answered_before
from layflat.web.people.gate import only


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """Shows all tools by zone; adds one."""
    name, zone = request.POST.get("name", ""), request.POST.get("zone", "")
    refused = ""
    if request.method == "POST":
        try:
            with transaction.atomic():
                before = answered_before(request, went_to=reverse("gates:tools"))
                if before is not None:
                    return before
                made = tools.add_tool(name, zone, who=doer(request))
        except LayflatError as error:
            refused = str(error)
        else:
            messages.success(request, f"{made.name} is in use.")
            return HttpResponseRedirect(reverse("gates:tools"))
    found = list(Tool.objects.all())
    context = {
        "part": "tools",
        "zones": [
            (one, [tool for tool in found if tool.zone == one and not tool.is_retired])
            for one in Zone
        ],
        "retired": [tool for tool in found if tool.is_retired],
        "is_empty": not found,
        "refused": refused,
        "name": name,
        "zone": zone,
    }
    return render(request, "gates/tools.html", context)


@only()
@require_POST
def retire(request: HttpRequest, tool: int) -> HttpResponse:
    """Has a tool no longer, or again, in use."""
    to = reverse("gates:tools")
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=to)
            if before is not None:
                return before
            tools.retire_tool(
                tools.locked_tool(str(tool)),
                retired=request.POST.get("retired") == "yes",
                who=doer(request),
            )
    except LayflatError as error:
        messages.error(request, str(error))
    return HttpResponseRedirect(to)
