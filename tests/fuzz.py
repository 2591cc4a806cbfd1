"""Spoil files of one format for some minutes and keep each one that a reader neither refuses nor reads rightly.

    python tests/fuzz.py --format stl-b --minutes 10

Run it at the top of the project. Finds go to tests/formats/finds, where a test replays them.
"""

import argparse
import collections
import hashlib
import sys
import time
import traceback
import warnings
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]

from helpers.mutations import check, check_part, reading, spoiled  # noqa: E402
from helpers.seeds import SEEDS  # noqa: E402

FINDS = Path(__file__).parent / "formats" / "finds"
SLOW = 2.0  # s for a file of a few kilobytes; STEP has its limit of time


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--format", choices=SEEDS, required=True)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    parser.add_argument("--most", type=int, default=20, help="finds after which to stop")
    parser.add_argument("--part", action="store_true", help="make the part too: repair, features, area (meshes only)")
    told = parser.parse_args()
    warnings.simplefilter("error")
    rng, suffix = np.random.default_rng(told.seed), SEEDS[told.format][0]
    reader = reading(suffix)
    if told.part:
        check_part(SEEDS[told.format][1][0], suffix)  # what is compiled first takes its time
    ends: collections.Counter[str] = collections.Counter()
    places: set[str] = set()
    end = time.monotonic() + 60 * told.minutes
    while time.monotonic() < end and len(places) < told.most:
        data = spoiled(told.format, rng)
        begin = time.monotonic()
        try:
            ends[check_part(data, suffix) if told.part else check(reader, data)] += 1
            slow = time.monotonic() - begin > SLOW and suffix != ".step"
            what = f"took {time.monotonic() - begin:.1f} s" if slow else ""
            place = "slow" if slow else ""
        except Exception as error:
            frame = traceback.extract_tb(error.__traceback__)[-1]
            what, place = f"{type(error).__name__}: {error}"[:200], f"{frame.filename}:{frame.lineno}"
            ends["find"] += 1
        if what and place not in places:
            places.add(place)
            FINDS.mkdir(exist_ok=True)
            path = FINDS / f"{told.format}_{hashlib.sha256(data).hexdigest()[:10]}{suffix}"
            path.write_bytes(data)
            print(f"{path.name}: {what} ({place})", flush=True)
    print(f"seed {told.seed}: {sum(ends.values())} files: {dict(ends.most_common())}")
    return 1 if places else 0


if __name__ == "__main__":
    sys.exit(main())
