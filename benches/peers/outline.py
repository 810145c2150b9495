"""What general-purpose libraries take for an outline from eight clicks and for the rings of two strips, on the photos and clicks that
benches/outline.rs leaves in target/: OpenCV's IntelligentScissorsMB, scikit-image's route_through_array between successive clicks (in the
rectangle about each pair), scipy's map_coordinates, gaussian_filter1d and find_peaks. None refines, tests or refuses anything.

    python3 -m venv peers && peers/bin/pip install opencv-python-headless scikit-image scipy
    peers/bin/python benches/peers/outline.py
"""
import json
import pathlib
import resource
import sys
import time

try:
    import cv2
    import numpy as np
    from scipy import ndimage, signal
    from skimage import graph
except ImportError:
    sys.exit("skipped: opencv-python-headless, scikit-image and scipy are not installed")

target = pathlib.Path(__file__).parents[2] / "target"
if not (target / "rings-bench.png").exists():
    sys.exit("skipped: run `cargo bench -p hoofgeo --bench outline` first, it leaves the photos")
sole = cv2.imread(str(target / "outline-bench.png"), cv2.IMREAD_GRAYSCALE)
wall = cv2.imread(str(target / "rings-bench.png"), cv2.IMREAD_GRAYSCALE)
clicks = [tuple(int(v) for v in p) for p in json.loads((target / "outline-bench.json").read_text())]
pairs = list(zip(clicks, clicks[1:] + clicks[:1]))
# The corridor that the library allows at this distance of the clicks, 5 mm of 20 px.
REACH = 100


def scissors():
    tool = cv2.segmentation.IntelligentScissorsMB()
    tool.setEdgeFeatureZeroCrossingParameters().setGradientMagnitudeMaxLimit(200)
    tool.applyImage(cv2.cvtColor(sole, cv2.COLOR_GRAY2BGR))
    n = 0
    for a, b in pairs:
        tool.buildMap(a)
        n += len(tool.getContour(b))
    return n


def routes():
    n = 0
    for a, b in pairs:
        low = [max(0, min(a[k], b[k]) - REACH) for k in (0, 1)]
        high = [min(sole.shape[1 - k], max(a[k], b[k]) + REACH + 1) for k in (0, 1)]
        crop = cv2.GaussianBlur(sole[low[1]:high[1], low[0]:high[0]].astype(np.float32), (0, 0), 3.0)
        g = np.hypot(cv2.Sobel(crop, cv2.CV_32F, 1, 0), cv2.Sobel(crop, cv2.CV_32F, 0, 1))
        cost = 1.02 - np.minimum(g / np.quantile(g, 0.97), 1.0)
        path, _ = graph.route_through_array(cost, (a[1] - low[1], a[0] - low[0]), (b[1] - low[1], b[0] - low[0]))
        n += len(path)
    return n


def rings():
    n = 0
    # Two strips of 40 columns sampled every 0.15 mm, at four scales.
    for x0, y0, length in [(680, 510, 1760), (3200, 690, 1190)]:
        y, x = np.meshgrid(np.arange(0, length, 3.0) + y0, np.linspace(x0, x0 + 260, 40), indexing="ij")
        profile = np.log(ndimage.map_coordinates(wall, [y, x], order=3, output=np.float64).clip(0) + 12).mean(axis=1)
        for sigma in (5.3, 8.0, 11.3, 16.0):
            answer = -ndimage.gaussian_filter1d(profile, sigma, order=2)
            n += len(signal.find_peaks(answer, prominence=0.2 * answer.max())[0])
    return n


for name, run in [("OpenCV IntelligentScissorsMB", scissors), ("scikit-image route_through_array", routes), ("scipy rings", rings)]:
    times = []
    for _ in range(3):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    print(f"{name}: {1e3 * min(times):.0f} ms")
print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
