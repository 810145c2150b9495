"""What a general-purpose library takes for the first steps of finding a ruler, on the photo that benches/ruler.rs leaves in target/:
edges and line segments (Canny, probabilistic Hough), and the spectra of tiles of 64 px. Neither numbers a line.

    python3 -m venv /tmp/peers && /tmp/peers/bin/pip install opencv-python-headless numpy
    /tmp/peers/bin/python benches/peers/ruler.py
"""
import pathlib
import sys
import time

try:
    import cv2
    import numpy as np
except ImportError:
    sys.exit("skipped: opencv-python-headless and numpy are not installed")

path = pathlib.Path(__file__).parents[2] / "target" / "ruler-bench.png"
if not path.exists():
    sys.exit("skipped: run `cargo bench -p hoofgeo --bench ruler` first, it leaves the photo")
grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)


def hough():
    edges = cv2.Canny(grey, 60, 180)
    return len(cv2.HoughLinesP(edges, 1, np.pi / 180, 30, minLineLength=15, maxLineGap=3))


def spectra():
    size, step = 64, 32
    window = np.outer(np.hanning(size), np.hanning(size)).astype(np.float32)
    tiles = np.lib.stride_tricks.sliding_window_view(grey, (size, size))[::step, ::step].astype(np.float32)
    count = 0
    for row in tiles:
        count += np.abs(np.fft.rfft2((row - row.mean((1, 2), keepdims=True)) * window)).max() > 0
    return count


for name, run in [("Canny and HoughLinesP", hough), ("spectra of tiles", spectra)]:
    times = []
    for _ in range(5):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    print(f"{name}: {1e3 * min(times):.0f} ms")
