"""The plain baseline that every figure is held against: color histogram, HOG and LBP, logistic regression.

Parameters are fixed here and are not tuned to held-out photos. Photos are squashed to 256 x 256. Color:
32 bins for each of hue, saturation and value. HOG: Dalal and Triggs (CVPR 2005), 9 orientations, cells of 32,
blocks of 2 x 2. LBP: Ojala, Pietikainen, Maenpaa (PAMI 2002), uniform, P = 8, R = 1, one histogram of 10.
Features are standardized; the logistic regression has C = 1 and balanced class weights.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

SIDE_PX = 256
C = 1.0


def features(path: Path) -> np.ndarray:
    """Return (96 + 1764 + 10,) float32 of one photo."""
    import cv2
    from skimage.feature import hog, local_binary_pattern

    from triage.imaging import open_upright

    rgb = cv2.resize(open_upright(path, SIDE_PX * 2).rgb, (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA)
    hsv = cv2.cvtColor(rgb, cv2.COLOR_RGB2HSV)
    tops = (180, 256, 256)
    color = np.concatenate([np.histogram(hsv[..., k], 32, (0, tops[k]))[0] for k in range(3)]) / SIDE_PX**2
    gray = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    gradients = hog(gray, orientations=9, pixels_per_cell=(32, 32), cells_per_block=(2, 2))
    patterns = local_binary_pattern(gray, 8, 1, method="uniform")
    texture = np.histogram(patterns, bins=10, range=(0, 10), density=True)[0]
    return np.concatenate([color, gradients, texture]).astype(np.float32)


def scores(train: np.ndarray, present: np.ndarray, test: np.ndarray) -> np.ndarray:
    """Return probabilities (n_test,) of a model fitted on train (n, d) with labels (n,)."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.pipeline import make_pipeline
    from sklearn.preprocessing import StandardScaler

    model = make_pipeline(
        StandardScaler(), LogisticRegression(C=C, class_weight="balanced", max_iter=2000)
    ).fit(train, present)
    return model.predict_proba(test)[:, 1]
