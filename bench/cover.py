"""Quick estimates of covers against real computations of the same ones, on both demo bodies.

`python -m bench cover` puts the demo's two bodies into a folder that goes when it ends, prepares
and measures them, then estimates and computes some covers of each. What counts is the ratio of the
real film to the estimate, against the range that the estimate states, and the time of an estimate
as it follows a tap: its panels known, one of them changed. Real layouts are searched for by the
clock, so that a busy machine finds longer ones.
"""

import sys
import time
from collections.abc import Iterator
from typing import Any

import numpy as np

from bench._empty_app import empty_app

ROLL_MM = 1524.0
TAPS = 30
TAP_LIMIT_MS = 300.0
"""What the whole answer to a tap may take."""


def main() -> None:
    with empty_app():
        measure(*seed())


def seed() -> tuple[Any, list[Any]]:
    """The shop and both revisions, prepared and measured."""
    from layflat.web.bodies.library import fill
    from layflat.web.cover.measure import ask_measures
    from layflat.web.people.models import Person, Role, Shop
    from layflat.web.seed_bodies import seed_bodies

    shop = Shop.objects.create(
        name="Lampwick Yard",
        film_per_metre="62",
        rate_per_hour="68",
        tax_rate="0.2",
        consumables="35",
        roll_width_mm=ROLL_MM,
    )
    shop.refresh_from_db()
    who = Person.objects.create_person("owner", password="not asked for here", role=Role.OWNER)
    revisions = list(seed_bodies(who=who).values())
    for revision in revisions:
        prepared = finished(revision.preparation)
        revision.refresh_from_db()
        fill(revision)
        measured = finished(ask_measures(revision, who=who))
        print(f"{revision}: prepared in {prepared:.0f} s, measured in {measured:.0f} s")
    return shop, revisions


def finished(computation: Any) -> float:
    """A computation done in this process; how many seconds it took."""
    from django.utils import timezone

    from layflat.base import silent
    from layflat.web.work.models import State
    from layflat.web.work.tasks import find

    began = time.perf_counter()
    computation.result = find(computation.task).run(computation.inputs, silent)
    computation.state, computation.ended_at = State.DONE, timezone.now()
    computation.save()
    return time.perf_counter() - began


def covers_of(revision: Any) -> Iterator[tuple[str, Any]]:
    """Covers as shops sell them, by name."""
    from layflat.web.cover.choices import Choices, PanelChoice
    from layflat.web.cover.panels import panels_on

    names = list(panels_on(revision).panels)

    def whole(*wanted: str) -> Choices:
        found = [name for name in names if any(name.startswith(word) for word in wanted)]
        return Choices(tuple(PanelChoice(panel=name) for name in found))

    nose = ("hood", "bumper", "fender", "lamp", "mirror")
    yield "hood", whole("hood")
    yield "hood and fenders", whole("hood", "fender")
    yield "nose", whole(*nose)
    yield "nose and doors", whole(*nose, "door")
    yield "bumper and mirrors", whole("bumper", "mirror")
    yield "doors and rockers", whole("door", "rocker")
    yield "whole vehicle", whole(*names)
    yield "half hood", Choices((half(revision, "hood"),))


def half(revision: Any, name: str) -> Any:
    """A panel up to a line across the middle of its length."""
    from layflat.web.cover.choices import PanelChoice
    from layflat.web.cover.panels import panels_on, surfaces_of

    facts = panels_on(revision).of(name)
    points = surfaces_of(revision)[facts.mesh].vertices_mm
    rim = np.concatenate([edge.points_mm for edge in facts.edges if not edge.is_opening])
    middle = 0.5 * (rim[:, 0].min() + rim[:, 0].max())
    at = rim[np.argsort(np.abs(rim[:, 0] - middle))[:12]]
    first, last = at[at[:, 1].argmin()], at[at[:, 1].argmax()]
    between = [
        points[np.linalg.norm(points - (first + share * (last - first)), axis=1).argmin()]
        for share in np.linspace(0, 1, 7)[1:-1]
    ]
    line = tuple(tuple(map(float, point)) for point in (first, *between, last))
    keep = tuple(map(float, points[points[:, 0].argmax()]))
    return PanelChoice(panel=name, line_mm=line, keep_mm=keep)


def measure(shop: Any, revisions: list[Any]) -> None:
    from layflat.base import silent
    from layflat.web.cover.choices import to_json
    from layflat.web.cover.compute import compute_cover
    from layflat.web.cover.estimate import estimate
    from layflat.web.cover.measure import revision_inputs
    from layflat.web.cover.order import LAYOUT_S

    print(
        f"{'cover':44} pieces  estimate m      range m   real m  real/estimate  "
        "tap ms (of the limit)  computed in s"
    )
    ratios, astray, slow = [], [], []
    for revision in revisions:
        for name, choices in covers_of(revision):
            found = estimate(choices, revision, shop)
            tap = tap_ms(choices, revision, shop)
            began = time.perf_counter()
            real = compute_cover(
                {
                    **revision_inputs(revision),
                    "choices": to_json(choices),
                    "roll_width_mm": ROLL_MM,
                    "seconds": LAYOUT_S,
                },
                silent,
            )
            took = time.perf_counter() - began
            ratios.append(real["film_mm"] / found.film_mm)
            title = f"{revision.body.name}, {name}"
            print(
                f"{title:44} {found.pieces:6d} {found.film_mm / 1e3:11.2f} "
                f"{found.film_least_mm / 1e3:6.2f}–{found.film_most_mm / 1e3:5.2f} "
                f"{real['film_mm'] / 1e3:8.2f} {ratios[-1]:14.3f} "
                f"{tap:8.1f} ({tap / TAP_LIMIT_MS:4.2f}) {took:20.1f}"
            )
            if not found.film_least_mm <= real["film_mm"] <= found.film_most_mm:
                astray.append(title)
            if tap > TAP_LIMIT_MS:
                slow.append(title)
    print(
        f"real/estimate: {min(ratios):.3f} to {max(ratios):.3f}, {np.mean(ratios):.3f} on average"
    )
    if astray or slow:
        sys.exit(f"Out of the stated range: {astray}; slower than a tap may be: {slow}")


def tap_ms(choices: Any, revision: Any, shop: Any) -> float:
    """The 95th percentile of estimates of which each has one wrap changed, in ms."""
    from layflat.pattern import EdgeFinish, Finish
    from layflat.web.cover.choices import PanelChoice
    from layflat.web.cover.estimate import estimate
    from layflat.web.cover.panels import panels_on

    times = []
    for i in range(TAPS):
        tapped = choices.panels[i % len(choices.panels)]
        edge = next(edge for edge in panels_on(revision).of(tapped.panel).edges if edge.name)
        changed = PanelChoice(
            panel=tapped.panel,
            line_mm=tapped.line_mm,
            keep_mm=tapped.keep_mm,
            edges={edge.name: EdgeFinish(Finish.WRAP, 6.0 + 0.1 * i)},
        )
        began = time.perf_counter()
        estimate(choices.with_panel(changed), revision, shop)
        times.append((time.perf_counter() - began) * 1e3)
    return float(np.percentile(times, 95))


if __name__ == "__main__":
    main()
