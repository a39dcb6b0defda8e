"""All random jobs against the brute force: ``python tests/bench/random_clearances.py [COUNT] [FIRST]``."""

import importlib.util
import sys
import time
from pathlib import Path


def main(count=1000, first=0):
    path = Path(__file__).parents[1] / "cutting" / "judged_clearances.py"
    spec = importlib.util.spec_from_file_location("judged_clearances", path)
    judge = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(judge)
    started, compared, wrong = time.perf_counter(), 0, []
    for seed in range(first, first + count):
        number, sentences = judge.differences(seed)
        compared += number
        wrong += sentences
    print(*wrong, sep="\n")
    took = time.perf_counter() - started
    print(f"{count} jobs, {compared} keep-outs, {len(wrong)} differences, {took:.0f} s")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:3])))
