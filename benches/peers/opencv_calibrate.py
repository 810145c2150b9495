"""OpenCV's side of `cargo bench -p hoofgeo --bench calibration`, which starts it: calibration from the same corners.

Needs Python 3 with `opencv-python-headless` and numpy (tried with 4.11.0 and 5.0.0). Each line of standard input is
`SIDE WORK COUNT`; the answer is how many nanoseconds COUNT calibrations took. WORK is `fit` (calibrateCameraExtended: one fit and
its standard deviations, which is all that OpenCV offers) or `jackknife` (the same and one fit without each photo).
"""

import json
import sys
import time

import cv2
import numpy as np

BOARD = np.zeros((54, 3), np.float32)
BOARD[:, :2] = np.mgrid[0:9, 0:6].T.reshape(-1, 2) * 25.0


def fit(corners):
    return cv2.calibrateCameraExtended([BOARD] * len(corners), corners, (640, 480), None, None)


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        cases = json.load(file)
    print(cv2.__version__, flush=True)
    for line in sys.stdin:
        side, work, count = line.split()
        corners = [np.array(c["subpix"], np.float32).reshape(-1, 1, 2) for c in cases if c["id"].startswith(side)]
        start = time.perf_counter_ns()
        for _ in range(int(count)):
            fit(corners)
            if work == "jackknife":
                for i in range(len(corners)):
                    fit(corners[:i] + corners[i + 1 :])
        print(time.perf_counter_ns() - start, flush=True)


main()
