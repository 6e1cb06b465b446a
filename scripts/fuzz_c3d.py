"""Mutated C3D files against the reader: `python scripts/fuzz_c3d.py --count 1000`, in the project's `.venv`.

Each mutation of a demo file, and of real files where ../shared/data is beside the project, must end in a capture or in
the reader's own error, within a second of the processor's time and 500 MB, without a warning. Exit status 1 where one
does not.
"""

from __future__ import annotations

import argparse
import faulthandler
import sys
import time
import tracemalloc
import warnings
from collections import Counter
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from mocap.errors import InputError  # noqa: E402
from mocap.importer.c3d_file import decode_c3d  # noqa: E402
from mocap.importer.c3d_parameters import BLOCK, parse  # noqa: E402

DEMO = ROOT / "demo_sessions" / "first_session" / "swing_01.c3d"
REAL = ROOT.parent / "shared" / "data" / "c3d"
REAL_FILES = (
    "sample02/pc_int.c3d",
    "sample02/Dec_real.c3d",
    "sample02/sgi_real.c3d",
    "sample02/sgi_int.c3d",
    "sample10/TYPE-4.C3D",
    "sample15/FP1.C3D",
    "sample18_bad_parameter_section.c3d",
    "sample20.c3d",
    "sample24.c3d",
    "full_body_gait.c3d",
    "full_body_standing.c3d",
)
#: Bytes of frames that are kept of each file, so that a mutation takes a millisecond or two.
KEPT = 40_000
MOST_SECONDS, MOST_BYTES = 1.0, 500e6
#: A mutation that takes this long hangs: the interpreter prints where, and ends. [s]
HANGS_S = 60.0
#: Numbers that counts and pointers break at.
EXTREMES = (0, 1, 2, 127, 128, 255, 256, 32_767, 32_768, 65_534, 65_535)


def sources() -> list[bytes]:
    """Sound and broken files, cut to few frames."""
    paths = [DEMO, *(REAL / name for name in REAL_FILES)]
    contents = [path.read_bytes() for path in paths if path.is_file()]
    return [content[: parse(content)[0].data_start * BLOCK + KEPT] for content in contents]


def mutate(content: bytes, random: np.random.Generator) -> bytes:
    """One to four injuries, mostly to header and parameters."""
    data = bytearray(content)
    front = min(len(data), parse(content)[0].data_start * BLOCK or BLOCK)
    for _ in range(random.integers(1, 5)):
        reach = max(4, min(len(data), front if random.random() < 0.8 else len(data)))
        at = int(random.integers(0, reach - 3))
        match random.integers(0, 8):
            case 0:
                data[at] ^= 1 << int(random.integers(0, 8))
            case 1:
                data[at : at + 2] = int(random.choice(EXTREMES)).to_bytes(2, "little")
            case 2:
                word = 2 * int(random.integers(1, 12))
                data[word : word + 2] = int(random.choice(EXTREMES)).to_bytes(
                    2, "little" if random.random() < 0.5 else "big"
                )
            case 3:
                data[at : at + 4] = random.bytes(4)
            case 4:
                del data[max(4, int(random.integers(0, len(data)))) :]
            case 5:
                length = int(random.integers(1, 600))
                start = int(random.integers(0, len(data)))
                data[at : at + length] = data[start : start + length]
            case 6:
                del data[at : at + int(random.integers(1, 64))]
            case _:
                length = int(random.integers(1, 600))
                data[at : at + length] = bytes([int(random.choice([0, 255]))]) * length
        if len(data) < 8:
            break
    if random.random() < 0.9:
        data[1:2] = b"\x50"  # else most would end at the first look
    return bytes(data)


def verdict(content: bytes) -> str:
    """How reading ended: `capture`, `refused`, or what went wrong."""
    tracemalloc.reset_peak()
    before = tracemalloc.get_traced_memory()[0]
    start = time.process_time()
    try:
        capture = decode_c3d(content, "mutation")
        ended = "capture" if np.isfinite(capture.points).any() else "failed: a capture without one point"
    except InputError as error:
        ended = "refused" if "\n" not in str(error) else "failed: an error of several lines"
    except Exception as error:  # noqa: BLE001 - the reader must raise nothing else
        ended = f"failed: {type(error).__name__}: {error}"[:200]
    seconds = time.process_time() - start
    taken = tracemalloc.get_traced_memory()[1] - before
    if seconds > MOST_SECONDS or taken > MOST_BYTES:
        return f"failed: {seconds:.2f} s, {taken / 1e6:.0f} MB ({ended})"
    return ended


def main(arguments: list[str] | None = None) -> int:
    """Run the mutations and print a summary."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=1000, help="how many mutations")
    parser.add_argument("--seed", type=int, default=1, help="of the random numbers")
    parser.add_argument("--only", type=int, help="run this one mutation alone, uncaught, to look at a failure")
    options = parser.parse_args(arguments)
    files = sources()

    def mutation(number: int) -> bytes:
        random = np.random.default_rng([options.seed, number])
        return mutate(files[number % len(files)], random)

    warnings.simplefilter("error")
    if options.only is not None:
        print(decode_c3d(mutation(options.only), "mutation"))
        return 0
    counts: Counter[str] = Counter()
    slowest = 0.0
    tracemalloc.start()
    for number in range(options.count):
        content = mutation(number)
        faulthandler.dump_traceback_later(HANGS_S, exit=True, file=sys.__stderr__ or sys.stderr)
        start = time.process_time()
        ended = verdict(content)
        slowest = max(slowest, time.process_time() - start)
        faulthandler.cancel_dump_traceback_later()
        counts[ended.partition(":")[0]] += 1
        if ended.startswith("failed"):
            print(f"mutation {number} of seed {options.seed}: {ended}")
    tracemalloc.stop()
    told = ", ".join(f"{count} {ended}" for ended, count in sorted(counts.items()))
    print(f"{options.count} mutations of {len(files)} files: {told}; the slowest took {slowest:.2f} s")
    return 1 if counts["failed"] else 0


if __name__ == "__main__":
    sys.exit(main())
