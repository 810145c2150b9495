"""What general-purpose libraries take for the first steps of finding a ruler, on the photo that benches/ruler.rs leaves: edges and line
segments (Canny, probabilistic Hough; the line segment detector), and the spectra of tiles of 64 px. None of them numbers a line.

Run by the bench with the Python that HOOFGEO_PYTHON names; needs opencv-python-headless and numpy. Two threads, as the bench.
"""
import sys

import cv2
import numpy as np
from timing import measure

cv2.setNumThreads(2)
grey = cv2.imread(sys.argv[1], cv2.IMREAD_GRAYSCALE)


def hough():
    edges = cv2.Canny(grey, 60, 180)
    return cv2.HoughLinesP(edges, 1, np.pi / 180, 30, minLineLength=15, maxLineGap=3)


def segments():
    return cv2.createLineSegmentDetector().detect(grey)


def spectra():
    size, step = 64, 32
    window = np.outer(np.hanning(size), np.hanning(size)).astype(np.float32)
    tiles = np.lib.stride_tricks.sliding_window_view(grey, (size, size))[::step, ::step]
    count = 0
    for row in tiles:
        row = row.astype(np.float32)
        count += np.abs(np.fft.rfft2((row - row.mean((1, 2), keepdims=True)) * window)).max() > 0
    return count


print(f"OpenCV {cv2.__version__}, numpy {np.__version__}")
measure({"Canny and HoughLinesP": hough, "line segment detector": segments, "spectra of tiles": spectra})
