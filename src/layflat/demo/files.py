"""The texts of the invented workshop's files. Names, numbers and prices are made up."""

from layflat.base import FloatArray

WORKSHOP = "Lampwick Yard Film Workshop (invented)"

FILM = """\
# An invented film. Values are assumptions for the demo, not a maker's data.
name = "Demo clear 150 (invented)"
thickness_um = 150.0
youngs_modulus_mpa = 40.0
poisson_ratio = 0.45
stretch_limit = 0.05      # goes unnoticed up to here
finger_limit = 0.01       # lies flat up to here
wrap_finger_limit = 0.1   # warmed and pressed down behind an edge
one_direction = false     # clear gloss film may be turned

[sources]
thickness_um = "Assumption: film without liner, common practice, no source."
youngs_modulus_mpa = "Assumption; flat shapes do not depend on it."
poisson_ratio = "Assumption: soft polyurethane hardly changes its volume."
stretch_limit = "Common practice, no source."
finger_limit = "Assumption."
wrap_finger_limit = "Assumption: test it on your own film."

[basis]
thickness_um = "assumed"
youngs_modulus_mpa = "assumed"
poisson_ratio = "assumed"
stretch_limit = "assumed"
finger_limit = "assumed"
wrap_finger_limit = "assumed"
"""

MACHINE = """\
# An invented plotter. Try force on a test piece first: it scores the liner, never cuts it.
name = "Bench plotter 1600 (invented)"
knife_offset_mm = 0.35
overcut_mm = 0.6
cut_speed_mm_s = 300.0
travel_speed_mm_s = 600.0
acceleration_mm_s2 = 3000.0
force_g = 90.0
max_width_mm = 1600.0
max_section_mm = 3000.0
units_per_mm = 40.0
"""

_COMMON = """
finger_aversion = 2.0     # compression is disliked twice as much as stretch
share_sides = true        # left and right share one pattern, mirrored, where the scan agrees
sides_tolerance_mm = 0.75

[stock]
width_mm = 1524
edge_margin_mm = 20       # untouched, for the pinch rollers
end_margin_mm = 5
gap_mm = 4
max_section_mm = 3000
turns_deg = [0, 180]
seconds = 20
seed = 1
lot = "{lot}"

[cut]
in_laying_order = false   # sections as the film is least, not as pieces are laid
tabs = 0                  # nothing holds a piece in its sheet
tab_mm = 1.0

[finish]                  # by edge kind; a cover may say otherwise for an edge
open = {{ finish = "wrap", distance_mm = 8 }}
gap = {{ finish = "short", distance_mm = 1.5 }}
trim = {{ finish = "short", distance_mm = 1.5 }}
inner = {{ finish = "flush" }}
"""

_PRICE = """
[price]
currency = "EUR"
film_per_metre = 62.0
rate_per_hour = 68.0
tax_rate = 0.20
consumables = 35.0
# Minutes for steps that do not depend on the pieces; laying follows from area and difficulty.
[price.minutes]
intake = 40
wash = 90
weed = {weed}
edges = 45
inspect = 30
hand-back = 30
"""


def van_job(line: FloatArray, keep: FloatArray) -> str:
    """The van's job: nose, mirror caps, loading sill, and the sliding door up to *line*."""
    points = ",\n  ".join(_point(point) for point in line)
    return (
        f"""\
# Parking sensors and the maker's emblem stay free: they are keep-outs of the panels.
name = "Nose, mirrors, sill and sliding door"
number = "K-0412"
dated = 2026-05-04
customer = "Underloaf Bakery (invented)"
vehicle = "Tarnholm Haulbeck, delivery van"
workshop = "{WORKSHOP}"
body = "van-scan.ply"
unit = "m"                # the scanner wrote metres
panels = "van-panels.json"
film = "film.toml"
machine = "machine.toml"
"""
        + _COMMON.format(lot="DEMO-7731")
        + f"""
[[cover]]
panel = "hood"

[[cover]]
panel = "bumper-front"
# The lip and the arches have little flange to wrap round.
[cover.edges]
lip = {{ finish = "short", distance_mm = 1.0 }}
arch-left = {{ finish = "short", distance_mm = 1.0 }}
arch-right = {{ finish = "short", distance_mm = 1.0 }}

[[cover]]
panel = "mirror-left"
edges = {{ top = {{ finish = "flush" }}, low = {{ finish = "flush" }} }}

[[cover]]
panel = "mirror-right"
edges = {{ top = {{ finish = "flush" }}, low = {{ finish = "flush" }} }}

[[cover]]
panel = "loading-sill"

[[cover]]
panel = "sliding-door-right"
edges = {{ low = {{ finish = "short", distance_mm = 2.0 }} }}
# Film only below this line, which was drawn on the door under its crease …
line_mm = [
  {points},
]
# … on the side of this point.
keep_mm = {_point(keep)}
"""
        + _PRICE.format(weed=60)
    )


def coupe_job() -> str:
    """The coupe's job: hood, fenders, lamp covers and rear arches."""
    covers = "".join(
        f'\n[[cover]]\npanel = "{name}"\n'
        for name in (
            "hood",
            "fender-left",
            "fender-right",
            "lamp-left",
            "lamp-right",
            "rear-arch-left",
            "rear-arch-right",
        )
    )
    return (
        f"""\
# Film on lamps: only where the vehicle maker and local rules allow it.
name = "Hood, fenders, lamps and rear arches"
number = "K-0413"
dated = 2026-05-06
customer = "Wendla Foxmarrow (invented)"
vehicle = "Tarnholm Siskwing, coupe"
workshop = "{WORKSHOP}"
body = "coupe-scan.ply"
unit = "mm"
panels = "coupe-panels.json"
film = "film.toml"
machine = "machine.toml"
"""
        + _COMMON.format(lot="DEMO-7732")
        + covers
        + _PRICE.format(weed=50)
    )


def _point(point: FloatArray) -> str:
    return "[" + ", ".join(f"{value:.3f}" for value in point) + "]"
