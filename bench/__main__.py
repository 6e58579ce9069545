"""Run the measurements: every `bench/bench_NAME.py` has a `main()` that measures and prints what it found."""

import importlib
import os
import platform
import sys
from pathlib import Path


def names() -> list[str]:
    """The measurements that exist."""
    return sorted(path.stem.removeprefix("bench_") for path in Path(__file__).parent.glob("bench_*.py"))


def main(wanted: list[str]) -> int:
    """Run the named measurements, or all of them; 2 when a name is unknown."""
    known = names()
    unknown = sorted(set(wanted) - set(known))
    if unknown:
        listed = ", ".join(known) or "none yet"
        sys.stderr.write(f"no measurement named {', '.join(unknown)}; there are: {listed}\n")
        return 2
    if not known:
        print("There are no measurements yet: bench/ holds no bench_*.py.")
        return 0
    machine = f"{platform.system()} {platform.machine()}, {os.cpu_count()} cores"
    print(f"Python {platform.python_version()}, {machine}")
    for name in wanted or known:
        print(f"\n== {name}", flush=True)
        importlib.import_module(f"bench.bench_{name}").main()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
