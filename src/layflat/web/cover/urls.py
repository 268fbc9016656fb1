"""Addresses of this part."""

from django.urls import path

from layflat.web.cover.views import alternatives, choose, pictures, saved

app_name = "cover"
_ALL = "<str:number>/cover/"
_ONE = f"{_ALL}<int:cover>/"
urlpatterns = [
    path(_ALL, alternatives.cover, name="cover"),
    path("<str:number>/covers/", alternatives.compare, name="compare"),
    path(f"{_ALL}begin/", alternatives.begin_cover, name="begin"),
    path(f"{_ALL}saved/<int:saved>/retire/", saved.retire, name="retire"),
    path(_ONE, choose.choose, name="choose"),
    path(f"{_ONE}change/", choose.change, name="change"),
    path(f"{_ONE}back/<int:event>/", choose.take_back, name="take-back"),
    path(f"{_ONE}compute/", choose.compute, name="compute"),
    path(f"{_ONE}trace/", choose.trace, name="trace"),
    path(f"{_ONE}part/", choose.part, name="part"),
    path(f"{_ONE}vehicle.png", pictures.vehicle, name="picture"),
    path(f"{_ONE}of/<int:outcome>/layout.svg", pictures.layout, name="layout"),
    path(f"{_ONE}copy/", alternatives.copy_cover, name="copy"),
    path(f"{_ONE}rename/", alternatives.rename_cover, name="rename"),
    path(f"{_ONE}drop/", alternatives.drop_cover, name="drop"),
    path(f"{_ONE}save/", saved.save, name="save"),
]
