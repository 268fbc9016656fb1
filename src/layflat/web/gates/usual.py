"""The steps that a new shop begins with.

Common practice, no source: every word and every number is the shop's to change. The film maker's,
the vehicle maker's and the agents' makers' instructions and local rules go first.
"""

from typing import Any, Final

from layflat.web.gates.models import Condition, Kind, StepTemplate, Zone

SOURCE: Final = "common practice, no source; yours to change"
FIRST: Final = "Makers' instructions and local rules go first."
_HOUR_S: Final = 3600
_MINUTE_S: Final = 60

_USUAL: Final[tuple[dict[str, Any], ...]] = (
    {
        "key": "rinse",
        "title": "Rinse and foam",
        "words": "Rinse by pressure from below upwards, foam, let it loosen grit, rinse again. "
        "Nothing touches the paint yet: grit that is dragged makes swirls.",
        "caution": "Wet floors are slippery. Lamps and pumps near water only behind residual-"
        f"current protection. {FIRST}",
        "dwell_least_s": 3 * _MINUTE_S,
        "dwell_most_s": 8 * _MINUTE_S,
    },
    {
        "key": "take-off-old-film",
        "title": "Taking old film and its glue off",
        "words": "Warm it evenly, pull slowly and flat, stop where paint comes along. Take the "
        "glue off, then wash the place again.",
        "caution": "Hot air burns skin, paint and film. Lifting old film can lift paint. No knife "
        f"on paint. {FIRST}",
        "zone": Zone.PAINT,
        "condition": Condition.OLD_FILM,
        "needs": ["rinse"],
    },
    {
        "key": "cover-brakes",
        "title": "Covering sensitive brakes",
        "words": "Wash carbon-ceramic and bare discs with a mild agent only, then cover them and "
        "see that no run-off reaches them.",
        "caution": f"Chock the car; hands stay from under it. {FIRST}",
        "kind": Kind.COVER_BRAKES,
        "zone": Zone.WHEELS,
        "condition": Condition.SENSITIVE_BRAKES,
        "needs": ["rinse"],
    },
    {
        "key": "iron-removal",
        "title": "Iron removal",
        "words": "Cool paint, out of sun and draught, one part of the car after another: spray, "
        "wait, rinse. It must not dry on the paint. It comes before film: afterwards nobody can "
        "get at it.",
        "caution": "It irritates and smells of sulphur: gloves, goggles, air; read the safety data "
        f"sheet; mix it with nothing. {FIRST}",
        "kind": Kind.IRON,
        "zone": Zone.PAINT,
        "needs": ["rinse", "take-off-old-film", "cover-brakes"],
        "dwell_least_s": 3 * _MINUTE_S,
        "dwell_most_s": 5 * _MINUTE_S,
    },
    {
        "key": "tar-and-glue",
        "title": "Tar and glue spots",
        "words": "Loosen spots with a little remover on a cloth, do not rub; clay with plenty of "
        "lubricant where the paint still feels rough; rinse.",
        "caution": f"Solvents: gloves, goggles, air, no flame. Never let them dry. {FIRST}",
        "zone": Zone.PAINT,
        "needs": ["iron-removal"],
    },
    {
        "key": "contact-wash",
        "title": "Contact wash",
        "words": "Clean mitt, straight lines, one container to rinse the mitt and one for suds. "
        "What falls on the floor is out of use until laundered.",
        "caution": f"Mitts and cloths of wheels and shuts never touch paint. {FIRST}",
        "zone": Zone.PAINT,
        "needs": ["tar-and-glue"],
    },
    {
        "key": "dry",
        "title": "Drying",
        "words": "Lay the cloth on and lift it off, do not rub; blow out gaps, emblems, mirrors "
        "and lamps, and wait for what still runs out.",
        "caution": f"Goggles with compressed air; never towards anybody. {FIRST}",
        "zone": Zone.PAINT,
        "needs": ["contact-wash"],
    },
    {
        "key": "panel-wipe",
        "title": "Panel wipe",
        "words": "Wipe every panel that gets film, and its edges, with panel wipe; a clean cloth "
        "for each. Look at it from the side under the lamp.",
        "caution": f"Alcohol vapour burns: air, no flame, no sparks, no hot air. {FIRST}",
        "zone": Zone.PAINT,
        "needs": ["dry"],
    },
    {
        "key": "cut-and-weed",
        "title": "Cutting and weeding",
        "words": "Film at room temperature, a test cut, the feed checked, cut in sections. Weed on "
        "the lit table, small cut-outs first; pieces stay on the liner, numbered.",
        "caution": "Blades: the machine off when they are changed, cut away from hands, used ones "
        f"into a closed tin. {FIRST}",
        "kind": Kind.CUT,
    },
    {
        "key": "look-at-repaint",
        "title": "Looking at the repaint's edges",
        "words": "Find where new paint ends, feel it, take a picture. Nothing is pulled across it; "
        "tape and film come off it slowly and flat. Ask whether the paint has hardened.",
        "caution": f"Lifting film can lift paint; the painter says when it has hardened. {FIRST}",
        "zone": Zone.PAINT,
        "condition": Condition.REPAINT,
        "needs": ["dry"],
    },
    {
        "key": "lay",
        "title": "Laying the film",
        "words": "Piece by piece as listed under “Lay”. Slip so that nothing bites yet, tack where "
        "it must hold; wraps go round after the flat has set.",
        "caution": "Tack holds alcohol: air, no flame, no hot air until it has dried off. Knives "
        "away from hands, never on paint. Sensors and radar emblems stay free unless the vehicle "
        f"maker allows film. {FIRST}",
        "kind": Kind.LAY,
        "zone": Zone.PAINT,
        "needs": ["iron-removal", "dry", "panel-wipe", "cut-and-weed", "look-at-repaint"],
    },
    {
        "key": "rest",
        "title": "Rest overnight",
        "words": "Indoors, no draught, nobody leans on it. Film settles and water finds its way "
        "out.",
        "kind": Kind.REST,
        "needs": ["lay"],
        "rest_s": 12 * _HOUR_S,
    },
    {
        "key": "heat-edges",
        "title": "Heating the edges",
        "words": "Warm every edge and wrap, press it down, look again when it has cooled; lay down "
        "what lifted.",
        "caution": "Hot air burns skin, paint and film; keep it moving, and off whatever is still "
        f"wet with alcohol. {FIRST}",
        "kind": Kind.EDGES,
        "zone": Zone.PAINT,
        "needs": ["rest"],
    },
    {
        "key": "inspection",
        "title": "Inspection",
        "words": "By somebody who laid none of it: light from the side, every edge, every corner. "
        "Faults are flagged on the car and under “Check”.",
        "kind": Kind.INSPECT,
        "zone": Zone.PAINT,
        "needs": ["lay", "heat-edges"],
    },
    {
        "key": "coating",
        "title": "Coating over the film",
        "words": "On top of film and paint, never under film. Wipe down, a small place at a time, "
        "level it before it sets, light from the side.",
        "caution": f"Coatings irritate: gloves, goggles, air. Read how long it must cure. {FIRST}",
        "kind": Kind.COAT,
        "zone": Zone.PAINT,
        "condition": Condition.COATING,
        "needs": ["lay", "inspection"],
    },
    {
        "key": "final-wipe",
        "title": "Final wipe, covers off",
        "words": "Wipe down, take covers off brakes and trim, final pictures. See that mirrors, "
        "lamps and sensors are free and work.",
        "caution": "Nobody drives a car whose mirror, lamp or sensor has been covered without "
        f"checking it. {FIRST}",
        "zone": Zone.PAINT,
        "needs": ["inspection", "coating"],
    },
    {
        "key": "hand-back",
        "title": "Handing back",
        "words": "Walk round again with the customer, explain the care, hand over the passport, "
        "agree the follow-up visit.",
        "kind": Kind.HAND_BACK,
        "needs": ["inspection", "final-wipe"],
    },
)


def usual_templates() -> list[StepTemplate]:
    """The usual steps in the usual order, as rows that are not saved yet."""
    return [StepTemplate(**values, position=place) for place, values in enumerate(_USUAL, start=1)]


def templates() -> list[StepTemplate]:
    """All templates of the shop in its order, retired ones too; the usual ones on first need."""
    found = list(StepTemplate.objects.all())
    if not found:
        # Two pages may need them first at once: a key is there once.
        StepTemplate.objects.bulk_create(usual_templates(), ignore_conflicts=True)
        found = list(StepTemplate.objects.all())
    return found


def is_as_usual(template: StepTemplate) -> bool:
    """Whether a template still says what a new shop begins with."""
    return template.version == 1 and any(template.key == values["key"] for values in _USUAL)
