"""From the original weights to adapted ones, on a GPU: train, export; torch is needed here and nowhere else.

    python -m tools.build_backbone.adapt --pack /tmp/pack                     scales the open sets down, once
    python -m tools.build_backbone.adapt --photos /tmp/pack --out /tmp/adapted

writes adapted-NNN.onnx (folded, the same nodes, outputs and size as the original; NNN is the share of the way
to the trained weights in hundredths), adapted.json (settings, pictures, hashes) and state.pt, from which a
stopped run goes on. --leave-out-set, --leave-out-tag and --leave-out-deck (beginnings of names of decks, as
board-991- for the boards of one tree) make the networks that the table of `tools/bench/run adapted` is made
of. `--device cpu --steps 2 --made 8 --crops 4 --whole 6 --crop-px 96` tries everything out.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from dataclasses import asdict, fields
from hashlib import sha256
from pathlib import Path

from tools.build_backbone.adapt.sets import OPEN_SETS, PictureSet, labeled, made, opened, pack
from tools.build_backbone.adapt.settings import Settings

ROOT = Path(__file__).resolve().parents[3]
SOURCE = "efficientnet-lite0.onnx"


def gather(
    photos: Path, renders: Path, asked: argparse.Namespace, count: int, cache: Path
) -> list[PictureSet]:
    """Return the sources that are not left out; with a count of 0 nothing is made."""
    sets_out, tags_out = set(asked.leave_out_set), frozenset(asked.leave_out_tag)
    decks_out = tuple(asked.leave_out_deck)
    found = [labeled(photos / name, name, tags_out, decks_out) for name in OPEN_SETS if name not in sets_out]
    if "demo" not in sets_out:
        found.append(labeled(renders, "demo", tags_out))
    if "open" not in sets_out:
        found.append(opened())
    if count and "made" not in sets_out:
        found.append(made(count, cache))
    return found


def train(
    sets: list[PictureSet], settings: Settings, device: str, out: Path, shares: list[float]
) -> dict[str, str]:
    """Adapt and write the networks at the given shares of the way; returns their hashes."""
    os.environ.setdefault("CUBLAS_WORKSPACE_CONFIG", ":4096:8")
    import onnx
    import torch

    from tools.build_backbone.adapt.network import FoldedNetwork, between, exported
    from tools.build_backbone.adapt.training import Adaptation

    torch.backends.cudnn.benchmark = False
    torch.backends.cudnn.deterministic = True
    model = onnx.load(ROOT / "models" / SOURCE)
    run = Adaptation(FoldedNetwork(model), FoldedNetwork(model), sets, settings, device)
    run.run(out / "state.pt", lambda text: print(text, flush=True))
    first, last = FoldedNetwork(model).state_dict(), run.network.state_dict()
    hashes = {}
    for share in shares:
        data = exported(model, between(first, last, share))
        name = f"adapted-{round(100 * share):03d}.onnx"
        (out / name).write_bytes(data)
        hashes[name] = sha256(data).hexdigest()
        card = f'file = "{name}"\nsha256 = "{hashes[name]}"\nbytes = {len(data)}\n'
        (out / name).with_suffix(".toml").write_text(card, encoding="utf-8")
    return hashes


def arguments() -> argparse.Namespace:
    """What was asked for."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--pack", type=Path, metavar="DIR", help="only scale the open sets down into DIR")
    parser.add_argument("--photos", type=Path, default=ROOT.parent / "shared" / "photos")
    parser.add_argument("--renders", type=Path, default=ROOT / "sample_photos")
    parser.add_argument("--out", type=Path, default=ROOT / ".cache" / "adapted")
    parser.add_argument(
        "--cache", type=Path, default=ROOT / ".cache" / "adapt", help="keeps the made pictures"
    )
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--leave-out-set", nargs="*", default=[], metavar="SET")
    parser.add_argument("--leave-out-tag", nargs="*", default=[], metavar="TAG")
    parser.add_argument("--leave-out-deck", nargs="*", default=[], metavar="BEGINNING")
    parser.add_argument("--shares", type=float, nargs="+", help="of the way to the trained weights")
    for one in fields(Settings):
        parser.add_argument(f"--{one.name.replace('_', '-')}", type=type(one.default), default=one.default)
    return parser.parse_args()


def main() -> int:
    """Pack, or train and export."""
    asked = arguments()
    if asked.pack:
        print(f"{pack(asked.photos, asked.pack):,} bytes in {asked.pack}")
        return 0
    settings = Settings(**{one.name: getattr(asked, one.name) for one in fields(Settings)})
    asked.out.mkdir(parents=True, exist_ok=True)
    begun = time.monotonic()
    sets = gather(asked.photos, asked.renders, asked, settings.made, asked.cache)
    read_s = time.monotonic() - begun
    hashes = train(sets, settings, asked.device, asked.out, asked.shares or [settings.share])
    card = {
        "settings": asdict(settings),
        "left_out_sets": asked.leave_out_set,
        "left_out_tags": asked.leave_out_tag,
        "left_out_decks": asked.leave_out_deck,
        "pictures": {
            one.name: {"count": len(one.keys), "tags": one.tags, "sha256": one.digest} for one in sets
        },
        "networks": hashes,
        "seconds": {"reading": round(read_s), "in all": round(time.monotonic() - begun)},
        "device": asked.device,
    }
    (asked.out / "adapted.json").write_text(json.dumps(card, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(card["seconds"]), json.dumps(hashes))
    return 0


if __name__ == "__main__":
    sys.exit(main())
