"""What general-purpose libraries take for the same steps on the photo that benches/pixels.rs hands over: structure tensors of a region at
four scales (scikit-image), profiles across an edge and the peak of their slope (scikit-image), a line through edge points (OpenCV).

    HOOFGEO_PYTHON=/path/to/python cargo bench -p hoofgeo --bench pixels
"""
import json
import resource
import sys
import time

try:
    import cv2
    import numpy as np
    from skimage import feature, io, measure
except ImportError as missing:
    sys.exit(f"skipped: {missing}")

case = json.loads(sys.argv[1])
cv2.setNumThreads(case["threads"])
grey = io.imread(case["photo"]).astype(np.float32)
scale = case["px_per_mm"]
x, y, w, h = (int(v) for v in case["region"])


def best(name, run, times=5):
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        found = run()
        spent.append(time.perf_counter() - start)
    print(f"{name}: {1e3 * min(spent):.1f} ms ({found})")


def tubules():
    """Direction of the region at four scales: smoothed derivatives minus broad ones, tensors of cells, their common direction."""
    directions = []
    for mm in (0.1, 0.16, 0.25, 0.4):
        sigma = mm * scale
        pad = int(4 * 0.5 * scale)
        crop = grey[y - pad:y + h + pad, x - pad:x + w + pad]
        fine = cv2.GaussianBlur(crop, (0, 0), sigma) - cv2.GaussianBlur(crop, (0, 0), 0.5 * scale + sigma)
        arr, arc, acc = feature.structure_tensor(fine, sigma=2 * scale / 3, order="rc")
        step = int(2 * scale)
        rr, rc, cc = (a[pad:-pad:step, pad:-pad:step] for a in (arr, arc, acc))
        feature.structure_tensor_eigenvalues(np.array([rr, rc, cc]))
        directions.append(0.5 * np.degrees(np.arctan2(2 * rc.sum(), (cc - rr).sum())))
    return f"{np.median(directions):.2f}°"


def edges(ends, stations, reach_mm, band_mm, sigma):
    a, b = (np.array(p) for p in ends)
    along = (b - a) / np.hypot(*(b - a))
    normal = np.array([-along[1], along[0]])
    points = []
    for t in np.linspace(0.06, 0.94, stations):
        p = a + (b - a) * t - 0.5
        lo, hi = p - normal * reach_mm * scale, p + normal * reach_mm * scale
        profile = measure.profile_line(grey, lo[::-1], hi[::-1], linewidth=int(2 * band_mm * scale) + 1, order=3, mode="nearest")
        slope = np.gradient(cv2.GaussianBlur(profile.astype(np.float32)[None], (0, 0), sigma)[0])
        k = int(np.clip(np.argmax(np.abs(slope)), 1, len(slope) - 2))
        l, m, r = np.abs(slope[k - 1:k + 2])
        points.append(lo + normal * (k + 0.5 * (l - r) / (l - 2 * m + r)))
    vx, vy, *_ = cv2.fitLine(np.array(points, np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel()
    return f"{np.degrees(np.arctan2(vy, vx)):.2f}°"


best("scikit-image, tensors of the region at four scales", tubules)
best("scikit-image, 37 profiles of the wall; OpenCV, their line", lambda: edges(case["wall"], 37, 5.0, 0.4, 3.0))
best("scikit-image, 61 profiles of the ground; OpenCV, their line", lambda: edges(case["ground"], 61, 2.3, 0.4, 2.4))
toe = np.array(case["wall"][1])
up = np.array(case["wall"][0]) - toe
up = up / np.hypot(*up) * scale
best("scikit-image, 22 profiles above the toe; OpenCV, their line",
     lambda: edges([(toe + 0.5 * up).tolist(), (toe + 6 * up).tolist()], 22, 3.7, 0.1, 1.6))
print(f"memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MB at the most")
