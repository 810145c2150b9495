"""Usual measures of a photo's sharpness and light over a whole 12-megapixel photo, for benches/quality.rs: the variance of the Laplacian
with OpenCV, the blur effect of scikit-image (F. Crete et al., 2007), the shares of white and black pixels.

Run by the bench with the Python that HOOFGEO_PYTHON names; needs opencv-python-headless and scikit-image. Two threads, as the bench.
"""
import sys

import cv2
import numpy as np
import skimage
from skimage.measure import blur_effect
from timing import measure

cv2.setNumThreads(2)
photo = cv2.imread(sys.argv[1])


def laplacian():
    return cv2.Laplacian(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY), cv2.CV_64F).var()


def blur():
    return blur_effect(cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY))


def light():
    return (photo.min(2) >= 250).mean(), (photo.max(2) <= 8).mean()


print(f"OpenCV {cv2.__version__}, scikit-image {skimage.__version__}")
measure({"variance of the Laplacian": laplacian, "blur effect": blur, "white and black": light})
