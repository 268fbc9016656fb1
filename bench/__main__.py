"""Run the benchmarks: all of them, or those whose names are given."""

import importlib
import pkgutil
import sys

import bench


def main(names: list[str]) -> None:
    known = [m.name for m in pkgutil.iter_modules(bench.__path__) if not m.name.startswith("_")]
    unknown = sorted(set(names) - set(known))
    if unknown:
        sys.exit(f"There is no benchmark called {unknown[0]}; there are {', '.join(known)}.")
    for name in known:
        if not names or name in names:
            print(f"== {name}")
            importlib.import_module(f"bench.{name}").main()


if __name__ == "__main__":
    main(sys.argv[1:])
