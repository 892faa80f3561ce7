"""A second round over whole decks of the demo, for `tools/bench/run places --rounds FOLDER`.

    RENDER_PYTHON tools/bench/places_rounds.py FOLDER --decks deck-06,deck-27     (a Python with bpy)

Every photo of the first round is taken again another day: by the same person's eye, so with another stand,
tilt and exposure, under an overcast sky, by another phone, on the deck as repaired. Photos and truth are
kept as `tools/render/run` keeps them; what is there already is not rendered again.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "render"))


def main() -> int:
    """Render the rounds asked for; 0 when all photos are there."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--decks", default="deck-06,deck-27")
    parser.add_argument("--threads", type=int, default=2)
    asked = parser.parse_args()
    from deckscene import decks, job, shots
    from deckscene.build import build
    from deckscene.cycles import Stage

    job.need_renderer()
    job.need_disk(asked.folder)
    for code in asked.decks.split(","):
        number = int(code.split("-")[1]) - 1
        deck = decks.repaired(decks.deck(number))
        plan = [
            replace(
                shot,
                visit=shots.SECOND,
                light="overcast",
                orientation=1,
                phone=(shot.phone + 1) % 3,
                aim=replace(shot.aim, portrait=False),
            )
            for shot in shots.shots(number)
        ]
        scene, positions = build(deck)
        stage = Stage(deck, scene, asked.threads)
        for shot in plan:
            if not job.is_done(asked.folder, shot):
                job._take(
                    stage,
                    asked.folder,
                    number,
                    deck,
                    scene,
                    positions,
                    shot,
                    job.FULL_SIZE,
                    job.paths_for(shot.view),
                )
                sys.stderr.write(f"{shot.deck}/{shot.name}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
