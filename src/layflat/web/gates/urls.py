"""Addresses of this part."""

from django.urls import path

from layflat.web.gates.views import plan, steps, tools

app_name = "gates"
_PLAN = "jobs/<str:number>/bay/plan/"
urlpatterns = [
    path(_PLAN, plan.page, name="plan"),
    path(f"{_PLAN}confirm/", plan.confirm, name="confirm"),
    path(f"{_PLAN}conditions/", plan.conditions, name="conditions"),
    path("shop/steps/", steps.page, name="templates"),
    path("shop/steps/new/", steps.new, name="new-template"),
    path("shop/steps/<slug:step>/", steps.edit, name="template"),
    path("shop/steps/<slug:step>/move/", steps.move, name="move-template"),
    path("shop/steps/<slug:step>/retire/", steps.retire, name="retire-template"),
    path("shop/steps/back/<int:event>/", steps.put_event_back, name="put-template-back"),
    path("shop/tools/", tools.page, name="tools"),
    path("shop/tools/<int:tool>/retire/", tools.retire, name="retire-tool"),
]
