"""Job numbers: by year, without gaps, never twice."""

import datetime

from layflat.web.jobs.models import Job, YearCount
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time


def next_number(shop: Shop, now: datetime.datetime) -> str:
    """The next number of the year that *now* lies in by the shop's clock, such as "2031-0042".

    Call it in a transaction: the year's row stays locked until the job is in, so two people at once
    get two numbers, and a job that fails leaves no gap.
    """
    year = shop_time(now, shop).year
    YearCount.objects.get_or_create(year=year, defaults={"last": _highest(year)})
    count = YearCount.objects.select_for_update().get(year=year)
    count.last += 1
    count.save(update_fields=["last"])
    return f"{year}-{count.last:04d}"


def _highest(year: int) -> int:
    """The highest number that the year has, for jobs that were brought in from elsewhere."""
    numbers = Job.objects.filter(number__startswith=f"{year}-").values_list("number", flat=True)
    tails = [number.partition("-")[2] for number in numbers]
    return max((int(tail) for tail in tails if tail.isdecimal()), default=0)
