"""The plain sparse product in floats of a matrix written down by the columnar benchmark: prints the least time of many runs in
nanoseconds, then the versions it was measured with."""

import sys
import time
from pathlib import Path

import numpy
import scipy
from scipy.sparse import csr_matrix

place, runs = Path(sys.argv[1]), int(sys.argv[2])
starts = numpy.fromfile(place / "starts", dtype="<u4").astype("i4")
slots = numpy.fromfile(place / "slots", dtype="<u4").astype("i4")
amounts = numpy.fromfile(place / "amounts", dtype="<i8").astype("f8")
prices = numpy.fromfile(place / "prices", dtype="<i8").astype("f8")
matrix = csr_matrix((amounts, slots, starts), shape=(len(starts) - 1, len(prices)))

least = None
for _ in range(runs):
    begun = time.perf_counter_ns()
    product = matrix @ prices
    taken = time.perf_counter_ns() - begun
    least = taken if least is None else min(least, taken)

print(least)
print(f"scipy {scipy.__version__}, numpy {numpy.__version__}")
