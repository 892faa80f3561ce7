"""Nothing stays of a killed backup, restore or upgrade, and a crafted backup is refused."""

import json
import zipfile
from pathlib import Path

import pytest
import warm
from killing import killed_at_every_step
from long_runs import cases

from triage.errors import Damaged
from triage.library import Library, queries
from triage.library.backup import backup, restore
from triage.library.drafts import draft_of, sweep_folder
from triage.library.verify import verify

OLD = Path(__file__).parent.parent / "library" / "format-1.backup"

STRIDE = cases(3, 1)


def left_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.name.startswith("."))


def test_what_a_killed_backup_left_is_named_and_gone_at_the_next_start(library, tmp_path):
    library.close()
    swept = 0
    for copy in killed_at_every_step("backup", library.path, tmp_path / "copies", stride=STRIDE):
        out = Path(f"{copy}-out")
        left = left_in(out)
        done = warm.call("status", "-L", copy)
        assert done.returncode == 0
        assert all(name in done.stderr for name in left), (left, done.stderr)
        assert left_in(out) == []
        swept += bool(left)
        if (out / "b.backup").exists():
            restore(out / "b.backup", out / "again")
    assert swept


def test_what_a_killed_restore_left_is_gone_when_it_is_done_again(library, tmp_path):
    backup(library, tmp_path / "b.backup")
    library.close()
    words = [str(tmp_path / "b.backup")]
    swept = 0
    for copy in killed_at_every_step("restore", library.path, tmp_path / "copies", *words, stride=STRIDE):
        out = Path(f"{copy}-out")
        swept += bool(left_in(out))
        if not (out / "again").exists():
            restore(tmp_path / "b.backup", out / "again")
        assert left_in(out) == []
        with Library.open(out / "again") as again:
            assert queries.photo_count(again) == 6
    assert swept


def test_what_a_killed_upgrade_left_is_named_and_gone_at_the_next_start(tmp_path):
    """The next start upgrades it, and one copy from before stays: the one that is said."""
    restore(OLD, tmp_path / "old")
    ended = swept = 0
    for copy in killed_at_every_step("upgrade", tmp_path / "old", tmp_path / "copies", stride=cases(4, 1)):
        copies = copy / "copies"
        left = left_in(copies) if copies.exists() else []
        done = warm.call("status", "-L", copy)
        assert done.returncode == 0, done.stderr
        assert all(name in done.stderr for name in left), (left, done.stderr)
        assert left_in(copies) == []
        assert hidden_in(copy) == []
        (kept,) = copies.iterdir()
        ended += "Upgraded the library" not in done.stderr
        assert str(kept) in done.stderr or "Upgraded the library" not in done.stderr
        with Library.open(copy) as library:
            found = verify(library)
            assert (found.damaged, found.missing, found.strays) == ([], [], [])
        swept += bool(left)
    assert swept
    assert ended < 5


def hidden_in(folder: Path) -> list[str]:
    return [str(path) for path in folder.rglob("*") if path.name.endswith(".tmp")]


def test_a_draft_that_somebody_is_writing_is_left_alone(tmp_path):
    with draft_of(tmp_path / "x.backup") as draft:
        assert sweep_folder(tmp_path) == []
        assert draft.is_dir()
    assert left_in(tmp_path) == []


@pytest.mark.parametrize("how", ["packed", "overlapping"])
def test_a_backup_that_unpacks_to_more_than_it_is_is_refused(library, tmp_path, how):
    bomb = tmp_path / "bomb.backup"
    name = "originals/ab/" + "ab" * 32 + ".jpg"
    kind = zipfile.ZIP_DEFLATED if how == "packed" else zipfile.ZIP_STORED
    with zipfile.ZipFile(bomb, "w", kind) as archive:
        archive.writestr(name, bytes(50_000_000 if how == "packed" else 500_000))
        archive.writestr("manifest.json", json.dumps({"format": 1, "sha256": {name: "0" * 64}}))
        if how == "overlapping":  # the directory lists the same bytes many times
            entry = archive.infolist()[0]
            archive.filelist += [entry] * 200
            archive._didModify = True
    with pytest.raises(Damaged, match="than its size|than it does"):
        restore(bomb, tmp_path / "again")
    assert not (tmp_path / "again").exists()
    assert left_in(tmp_path) == []
