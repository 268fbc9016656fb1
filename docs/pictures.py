"""Write the pictures of README and guide into `docs/pictures/`, as SVG.

    .venv/bin/python docs/pictures.py             all of them
    .venv/bin/python docs/pictures.py knife       one
    .venv/bin/python docs/pictures.py --search week   look for a new layout first

The same code gives the same bytes. A layout search would not: it ends by the clock. Its places
are stored in `docs/figures/layout-places.json` and `week-places.json`; when the pieces have
changed so that they do not lie as stored any more, the layout is refused, and ``--search`` finds
another.
"""

import argparse
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from figures import laid
from figures.bodies import body_picture
from figures.corrected import corrected_picture
from figures.flattening import flattening_picture
from figures.jobs import designs, pieces
from figures.knife import knife_picture
from figures.mended import mended_picture
from figures.offset import offset_picture
from figures.plan import laying_plan_picture
from figures.scan import scan_picture
from figures.strain import strain_picture
from figures.template import template_picture
from figures.week import search_week_anew, week_picture

from layflat.base import write_text

FOLDER = Path(__file__).parent / "pictures"

PICTURES: Mapping[str, Callable[[], str]] = {
    "van": lambda: body_picture(
        designs()["van"],
        view="front-left",
        covered=("hood", "bumper-front", "mirror-left", "mirror-right"),
    ),
    "coupe": lambda: body_picture(
        designs()["coupe"],
        view="front-left",
        covered=("hood", "fender-left", "fender-right", "lamp-left", "lamp-right"),
    ),
    "flattening": lambda: flattening_picture(pieces("coupe", ("fender-left",))[0]),
    "plan": lambda: laying_plan_picture(pieces("coupe", ("fender-left",))[0]),
    "strain": lambda: strain_picture(pieces("van", ("bumper-front",))[0]),
    "strain-mirror": lambda: strain_picture(pieces("van", ("mirror-left",))[0]),
    "strain-hood": lambda: strain_picture(pieces("coupe", ("hood",))[0]),
    "strain-fender": lambda: strain_picture(pieces("coupe", ("fender-left",))[0]),
    "layout": laid.laid_out_picture,
    "week": week_picture,
    "knife": knife_picture,
    "offset": offset_picture,
    "scan": scan_picture,
    "mended": mended_picture,
    "template": template_picture,
    "corrected": corrected_picture,
}
"""Every picture by the name of its file."""

SEARCHES: Mapping[str, Callable[[], None]] = {
    "layout": lambda: laid.search_anew(seconds=60.0),
    "week": lambda: search_week_anew(seconds=180.0),
}
"""What looks for the places of some pictures anew."""


def main() -> None:
    """Write the pictures that are asked for."""
    parser = argparse.ArgumentParser(description="Write the pictures of README and guide.")
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(PICTURES))
    parser.add_argument("--search", action="store_true", help="look for a new layout first")
    asked = parser.parse_args()
    unknown = sorted(set(asked.names) - set(PICTURES))
    if unknown:
        parser.error(f"there is no picture “{unknown[0]}”; there are {', '.join(PICTURES)}")
    for name, search in SEARCHES.items():
        if asked.search and name in (asked.names or SEARCHES):
            search()
    FOLDER.mkdir(exist_ok=True)
    for name in asked.names or PICTURES:
        write_text(FOLDER / f"{name}.svg", PICTURES[name]())


if __name__ == "__main__":
    main()
