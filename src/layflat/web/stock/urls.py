"""Addresses of this part."""

from django.urls import path

from layflat.web.stock import views

app_name = "stock"
urlpatterns = [
    path("", views.stock, name="stock"),
    path("receive/", views.receive, name="receive"),
    path("<int:roll>/", views.roll, name="roll"),
    path("<int:roll>/correct/", views.correct, name="correct"),
    path("<int:roll>/discard/", views.discard, name="discard"),
    path("<int:roll>/offcut/", views.offcut, name="offcut"),
    path("<int:roll>/not-kept/", views.not_kept, name="not-kept"),
    path("<int:roll>/place/", views.place, name="place"),
    path("<int:roll>/rename/", views.rename, name="rename"),
    path("<int:roll>/release/", views.release, name="release"),
    path("<int:roll>/cost/", views.cost, name="cost"),
    path("<int:roll>/fault/", views.fault, name="fault"),
    path("<int:roll>/fault-right/", views.fault_right, name="fault-right"),
    path("<int:roll>/fault-gone/", views.fault_gone, name="fault-gone"),
    path("<int:roll>/fault-there/", views.fault_there, name="fault-there"),
    path("<int:roll>/label.pdf", views.label, name="label"),
]
