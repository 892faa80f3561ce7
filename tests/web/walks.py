"""Photos that wait for a deck."""

from triage.ingest.by_slate import ingest_by_slate


def without_deck(library, photo_maker, tmp_path, count=4):
    """Photos of one walk that no card could sort, with the reason each was left open."""
    for number in range(count):
        photo_maker(
            tmp_path / "phone" / f"P_{number}.jpg",
            seed=700 + number,
            exif={271: "Invented", 272: "Phone 2", "taken_at": f"2026:05:05 11:1{number}:00"},
        )
    ingest_by_slate(library, [tmp_path / "phone"], by="ann", engine="here")
