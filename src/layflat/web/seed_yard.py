"""What stands in the invented workshop before any job: rolls of film, mitts and cloths."""

import datetime
from decimal import Decimal
from typing import Final

from django.utils import timezone

from layflat.web.gates.models import Zone
from layflat.web.gates.tools import add_tool
from layflat.web.gates.usual import templates
from layflat.web.people.models import Person
from layflat.web.stock.booking import receive
from layflat.web.stock.setting_right import correct

_ROLLS: Final = (
    # film, lot, width, length, cost, place, days ago
    ("Clear gloss 150", "K7-2204", 1524, 15_200, "478.80", "rack 1, top", 41),
    ("Clear gloss 150", "K7-2311", 1524, 15_200, "478.80", "rack 1, middle", 12),
    ("Clear gloss 150", "K7-2311", 610, 15_200, "201.40", "rack 1, bottom", 12),
    ("Clear matt 150", "M2-0087", 1524, 15_200, "532.00", "rack 2", 90),
)
_MATT_LEFT_MM: Final = 3_340
_TOOLS: Final = (
    ("blue mitt 1", Zone.PAINT),
    ("blue mitt 2", Zone.PAINT),
    ("white drying cloth 1", Zone.PAINT),
    ("white drying cloth 2", Zone.PAINT),
    ("red mitt", Zone.WHEELS),
    ("grey cloth, shuts", Zone.WHEELS),
    ("wheel brush", Zone.WHEELS),
)


def seed_yard(*, who: Person) -> None:
    """Put film on the racks and tools on their hooks; call it in a transaction."""
    today = timezone.now().date()
    for film, lot, width_mm, length_mm, cost, place, days in _ROLLS:
        roll = receive(
            film=film,
            lot=lot,
            width_mm=width_mm,
            length_mm=length_mm,
            cost=Decimal(cost),
            place=place,
            received_on=today - datetime.timedelta(days=days),
            who=who,
        )
    correct(roll, _MATT_LEFT_MM, reason="measured when Layflat came: begun before", who=who)
    templates()
    for name, zone in _TOOLS:
        add_tool(name, zone, who=who)
