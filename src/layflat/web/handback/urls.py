"""Addresses of this part."""

from django.urls import path

from layflat.web.handback.views import customer, record, shop, visit

app_name = "handback"
_JOB = "jobs/<str:number>/hand-back/"
_RECORD = "jobs/<str:number>/passport/"
_VISIT = "jobs/<str:number>/follow-up/"
_YOU = "for-you/passport/<str:token>/"
urlpatterns = [
    path(_JOB, shop.page, name="hand-back"),
    path(f"{_JOB}give/", shop.give, name="give"),
    path(f"{_JOB}again/", shop.again, name="again"),
    path(f"{_JOB}care.pdf", shop.care, name="care"),
    path(f"{_JOB}signature.png", shop.signed, name="signature"),
    path(f"{_JOB}pictures/", shop.add, name="add-picture"),
    path(f"{_JOB}pictures/<int:key>/withdraw/", shop.withdraw, name="withdraw"),
    path(f"{_JOB}pictures/<int:key>/put-back/", shop.put_back, name="put-back"),
    path(f"{_JOB}pictures/<int:key>/<str:what>", shop.picture, name="picture"),
    path(_RECORD, record.page, name="passport"),
    path(f"{_RECORD}correct/", record.correction, name="correct"),
    path(f"{_RECORD}link/", record.link, name="make-link"),
    path(f"{_RECORD}<int:version>/passport.pdf", record.pdf, name="pdf"),
    path(f"{_RECORD}<int:version>/passport.json", record.record, name="record"),
    path(f"{_RECORD}<int:version>/<str:sha256>.jpg", record.picture, name="record-picture"),
    path(_VISIT, visit.page, name="follow-up"),
    path(f"{_VISIT}write/", visit.write, name="write"),
    path(f"{_VISIT}day/", visit.agree, name="agree"),
    path(f"{_VISIT}call-off/", visit.call_off, name="call-off"),
    path(_YOU, customer.for_you, name="for-you"),
    path(f"{_YOU}<int:version>/passport.pdf", customer.pdf, name="for-you-pdf"),
    path(f"{_YOU}<int:version>/passport.json", customer.record, name="for-you-record"),
    path(f"{_YOU}<int:version>/<str:sha256>.jpg", customer.picture, name="for-you-picture"),
]
