"""Rectifying a 12-megapixel photo with OpenCV, in its own best ways, for benches/rectify.rs.

Takes one argument of JSON: threads, path of the photo (binary PPM), camera matrix, distortion, rotation, new camera matrix, size. Prints one
JSON line: median milliseconds of each way, and the mean of its picture. Needs numpy and opencv-python-headless.
"""
import json
import statistics
import sys
import time

import cv2
import numpy as np

case = json.loads(sys.argv[1])
cv2.setNumThreads(case["threads"])
photo = cv2.imread(case["photo"])
camera, distortion, rotation, new = (np.array(case[k]) for k in ("camera", "distortion", "rotation", "new_camera"))
size = tuple(case["size"])
homography = new @ rotation @ np.linalg.inv(camera)
flags = {"bilinear": cv2.INTER_LINEAR, "bicubic": cv2.INTER_CUBIC}


def remapped(flag, kind):
    """One resampling for lens and tilt together."""
    x, y = cv2.initUndistortRectifyMap(camera, distortion, rotation, new, size, kind)
    return cv2.remap(photo, x, y, flag)


def warped_twice(flag):
    """The lens first, then the tilt: two resamplings."""
    return cv2.warpPerspective(cv2.undistort(photo, camera, distortion), homography, size, flags=flag)


def warped(flag):
    """The tilt alone: the lens is left in."""
    return cv2.warpPerspective(photo, homography, size, flags=flag)


ways = {}
for name, flag in flags.items():
    ways[f"{name}: maps (16SC2) and remap"] = lambda flag=flag: remapped(flag, cv2.CV_16SC2)
    ways[f"{name}: maps (32FC1) and remap"] = lambda flag=flag: remapped(flag, cv2.CV_32FC1)
    ways[f"{name}: undistort, warpPerspective"] = lambda flag=flag: warped_twice(flag)
    ways[f"{name}: warpPerspective alone, lens left in"] = lambda flag=flag: warped(flag)
out = {"opencv": cv2.__version__, "threads": cv2.getNumThreads(), "ms": {}, "mean": {}}
for name, way in ways.items():
    times = []
    for _ in range(7):
        start = time.perf_counter()
        result = way()
        times.append(1000 * (time.perf_counter() - start))
    out["ms"][name] = round(statistics.median(times), 1)
    out["mean"][name] = round(float(np.mean(result)), 3)
print(json.dumps(out))
