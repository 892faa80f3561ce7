"""The numbers of one adaptation; a run is described by them, the pictures' hashes and the code."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Settings:
    """What an adaptation is made with; see `tools.build_backbone.adapt.training`.

    Attributes
    ----------
    steps : of the optimizer; each takes `crops` parts of pictures with dense truth and `whole` whole photos.
    rate : of Adam for the network's weights; the heads learn `head_rate`.
    distil, distil_whole : weights, for parts and whole photos, of staying with the original's maps of a
        milder view of the same place.
    photo_labels : sources whose answers for whole photos teach; the others teach by their boxes alone.
    pull : weight of the squared distance to the original weights.
    boards_share : how many shares of the parts come from boards; every other source has one.
    highest_cells : weight of the loss on the mean of a part's six highest cells, as photos are scored.
    early_rate : share of `rate` that the weights before the earlier map learn at.
    share : how far to go on the line from the original weights to the trained ones (Wortsman et al.,
        arXiv 2109.01903).
    """

    steps: int = 1500
    crops: int = 40
    whole: int = 24
    crop_px: int = 320
    rate: float = 1e-4
    head_rate: float = 3e-3
    warm_up: int = 200
    distil: float = 1.0
    distil_whole: float = 2.0
    photo_labels: str = "demo,materials,screws,made"
    pull: float = 0.01
    boards_share: int = 1
    highest_cells: float = 0.5
    early_rate: float = 1.0
    made: int = 4000
    share: float = 1.0
    seed: int = 0
