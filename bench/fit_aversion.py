"""Flattening with finger aversion against the symmetric one: the same panel, in the same run."""

from bench.flatten import cpu_seconds, panel, verdict
from layflat.film import flatten, generic_film

PANEL_TRIANGLES = 40_000
AVERSION = 8.0
MOST_RATIO = 2.5


def main() -> None:
    mesh, film = panel(PANEL_TRIANGLES), generic_film()
    plain, averse = flatten(mesh, film), flatten(mesh, film, finger_aversion=AVERSION)
    plain_seconds = cpu_seconds(lambda: flatten(mesh, film))
    averse_seconds = cpu_seconds(lambda: flatten(mesh, film, finger_aversion=AVERSION))
    ratio = averse_seconds / plain_seconds
    print(
        f"{len(mesh.faces)} triangles, {averse.steps} steps with aversion {AVERSION:g}, "
        f"{plain.steps} without"
    )
    print(
        f"  {ratio:5.2f} times the symmetric one (at most {MOST_RATIO:g}): "
        f"{verdict(good=ratio <= MOST_RATIO and averse.converged)}"
    )


if __name__ == "__main__":
    main()
