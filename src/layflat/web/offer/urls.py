"""Addresses of this part."""

from django.urls import path

from layflat.web.offer.views import customer, shop

app_name = "offer"
_JOB = "jobs/<str:number>/offer/"
_YOU = "for-you/offer/<str:token>/"
urlpatterns = [
    path(_JOB, shop.offer, name="offer"),
    path(f"{_JOB}hear/", shop.hear, name="hear"),
    path(f"{_JOB}<int:version>/", shop.version, name="version"),
    path(f"{_JOB}<int:version>/offer.pdf", shop.pdf, name="pdf"),
    path(f"{_JOB}of/<int:outcome>/<str:what>", shop.file, name="file"),
    path(_YOU, customer.for_you, name="for-you"),
    path(f"{_YOU}<int:version>/offer.pdf", customer.for_you_pdf, name="for-you-pdf"),
    path(f"{_YOU}<int:version>/<int:place>/<str:what>", customer.for_you_file, name="for-you-file"),
]
