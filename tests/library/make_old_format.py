"""How `format-N.backup` was made: by the program of that format itself, as it stood at its last commit.

    git archive COMMIT | tar -x -C OLD
    PYTHONPATH=OLD:OLD/tests python tests/library/make_old_format.py tests/library/format-N.backup

Format 1: commit 28e0264. Format 2: commit e9de750. Format 3: commit 749b8f8.
The photos are drawn, the deck and the people invented.
"""

import sys
import tempfile
from pathlib import Path

from common import draw_photo

from triage.ingest import ingest
from triage.library import EventDraft, Library, queries
from triage.library.backup import backup
from triage.library.tables import FORMAT_VERSION


def main() -> None:
    assert Path(sys.argv[1]).name == f"format-{FORMAT_VERSION}.backup", "this program is of another format"
    with tempfile.TemporaryDirectory() as folder, Library.create(Path(folder) / "old") as library:
        for number in range(3):
            draw_photo(Path(folder) / "card" / "D-17" / f"IMG_041{number}.jpg", seed=number, size=(96, 72))
        ingest(library, [Path(folder) / "card"], by="ann", engine="here")
        shas = [photo.sha for photo in queries.photos(library)]
        for by, value in (("ann", "absent"), ("ben", "present")):
            said = {"photo": shas[0], "tag": "missing-hanger", "value": value}
            library.say("label", said, by=by, private={"note": f"said by {by}"})
        library.say_many(
            [
                EventDraft("label", {"photo": sha, "tag": "shows-ledger", "value": "present"}, "ann")
                for sha in shas
            ]
        )
        settled = {"photo": shas[0], "tag": "missing-hanger", "value": "present"}
        library.say("settled", settled, by="cy", private={"why": "looked twice"})
        for size in ("2x6", "2x8"):
            library.say("fact", {"deck": "D-17", "key": "joist_size", "value": size}, by="ann")
        library.undo("ann")
        finding = {"deck": "D-17", "visit": None, "tier": "watch", "photos": [], "how": "walked"}
        library.say("finding", finding, by="ben", private={"text": "bounces"})
        backup(library, Path(sys.argv[1]))


if __name__ == "__main__":
    main()
