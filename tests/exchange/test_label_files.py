"""Label files of other tools: COCO and folder trees; hostile names are refused and never opened."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from exchange_helpers import put_photo

from triage.errors import BadInput
from triage.exchange import read_labels_file
from triage.exchange.reading import safe_name
from triage.label.rows import store_rows
from triage.library import Library, queries

TAG = "rusted-connector"


@pytest.fixture
def library(tmp_path: Path):
    with Library.create(tmp_path / "library") as made:
        put_photo(made, "D-1", "a.jpg")
        put_photo(made, "D-1", "b.jpg")
        yield made


def coco(**more: Any) -> dict[str, Any]:
    return {
        "images": [{"id": 1, "file_name": "D-1/a.jpg", "width": 400, "height": 300}],
        "categories": [{"id": 7, "name": "rust"}, {"id": 8, "name": TAG}, {"id": 9, "name": "other"}],
        "annotations": [{"id": 1, "image_id": 1, "category_id": 7, "bbox": [40, 30, 200, 150]}],
    } | more


def read(
    library: Library,
    folder: Path,
    data: Any,
    mapping: str | None = 'categories = {rust = "rusted-connector"}',
):
    file = folder / "coco.json"
    file.write_text(data if isinstance(data, str) else json.dumps(data))
    if mapping is None:
        return read_labels_file(library, file)
    (folder / "map.toml").write_text(mapping)
    return read_labels_file(library, file, folder / "map.toml")


def test_boxes_become_fractions_and_categories_tags(library: Library, tmp_path: Path) -> None:
    two = [
        {"id": 1, "image_id": 1, "category_id": 7, "bbox": [40, 30, 200, 150]},
        {"id": 2, "image_id": 1, "category_id": 8, "bbox": [0, 0, 4, 3]},
    ]
    rows, aside = read(library, tmp_path, coco(annotations=two))
    assert aside == []
    (row,) = rows
    assert (row.tag, row.value) == (TAG, "present")
    assert row.boxes == ((0.1, 0.1, 0.5, 0.5), (0.0, 0.0, 0.01, 0.01))
    stored = store_rows(library, rows, aside, by="ann")
    assert stored.to_json() == {"rows": 1, "new": 1, "known": 0, "set_aside": []}
    assert store_rows(library, *read(library, tmp_path, coco(annotations=two)), by="ann").known == 1
    (label,) = queries.labels(library)
    assert label.boxes == row.boxes
    assert label.by == "ann"


def test_a_mapping_may_say_absent_or_leave_out(library: Library, tmp_path: Path) -> None:
    mapping = '[categories]\nrust = "rusted-connector = absent"\nother = ""\n'
    said = [{"image_id": 1, "category_id": one} for one in (7, 9)]
    rows, aside = read(library, tmp_path, coco(annotations=said), mapping)
    assert aside == []
    assert [(row.tag, row.value, row.boxes) for row in rows] == [(TAG, "absent", ())]


@pytest.mark.parametrize(
    ("name", "taken"),
    [
        ("D-1/a.jpg", True),
        ("./D-1/a.jpg", True),
        ("D-1\\a.jpg", True),
        ("a.jpg", True),
        ("../D-1/a.jpg", False),
        ("D-1/../../a.jpg", False),
        ("/etc/passwd", False),
        ("C:\\a.jpg", False),
        ("\\\\server\\share\\a.jpg", False),
        ("http://example.org/a.jpg", False),
        ("~/a.jpg", False),
        ("D-1/a.jpg\u0000", False),
        ("D-1/\u202egpj.a", False),
        ("", False),
        (None, False),
        (7, False),
        ("x" * 2000, False),
    ],
)
def test_hostile_file_names_are_refused(library: Library, tmp_path: Path, name: Any, taken: bool) -> None:
    data = coco(images=[{"id": 1, "file_name": name, "width": 400, "height": 300}])
    rows, aside = read(library, tmp_path, data)
    assert bool(rows) == taken
    assert bool(aside) != taken
    if not taken:
        assert "file_name" in aside[0].reason
        with pytest.raises(BadInput):
            safe_name(name)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"annotations": [{"image_id": 1, "category_id": 99}]}, "no category 99"),
        ({"annotations": [{"image_id": 5, "category_id": 7}]}, "no image 5"),
        ({"annotations": [{"image_id": [1], "category_id": 7}]}, "no image"),
        ({"annotations": ["x"]}, "not an object"),
        ({"annotations": [{"image_id": 1, "category_id": 9}]}, "'other' is not a tag"),
        ({"annotations": [{"image_id": 1, "category_id": 7, "bbox": [1, 2]}]}, "four numbers"),
        ({"annotations": [{"image_id": 1, "category_id": 7, "bbox": [1, 2, "3", 4]}]}, "four numbers"),
        (
            {"annotations": [{"image_id": 1, "category_id": 7, "bbox": [300, 0, 200, 10]}]},
            "outside the photo",
        ),
        ({"annotations": [{"image_id": 1, "category_id": 7, "value": "maybe"}]}, "value 'maybe'"),
        ({"images": [{"id": 1, "file_name": "D-1/a.jpg", "width": 300, "height": 400}]}, "lying on its side"),
        ({"images": [{"id": 1, "file_name": "D-1/a.jpg", "width": 999, "height": 400}]}, "a different shape"),
        ({"images": [{"id": 1, "file_name": "D-1/a.jpg", "width": -4, "height": -3}]}, "no size"),
        ({"images": [{"id": 1, "file_name": "D-9/none.jpg", "width": 4, "height": 3}]}, "photo"),
    ],
)
def test_a_bad_annotation_is_set_aside_and_the_next_one_read(
    library: Library, tmp_path: Path, change: dict[str, Any], reason: str
) -> None:
    data = coco(**change)
    data["images"].append({"id": 2, "file_name": "D-1/b.jpg"})
    data["annotations"].append({"image_id": 2, "category_id": 7})
    rows, aside = read(library, tmp_path, data)
    assert [row.row for row in rows] == [2]
    assert [one.row for one in aside] == [1]
    assert reason in aside[0].reason


@pytest.mark.parametrize(
    ("data", "match"),
    [
        ("{", "not valid JSON"),
        ('{"images": NaN}', "not a number"),
        ("[" * 100_000, "not valid JSON"),
        ("[]", "not a COCO file"),
        ('{"images": [{"file_name": "a"}]}', "without an id"),
        ('{"images": [{"id": 1}, {"id": 1}]}', "two images with the id 1"),
    ],
)
def test_what_is_no_coco_file_is_refused(library: Library, tmp_path: Path, data: str, match: str) -> None:
    with pytest.raises(BadInput, match=match):
        read(library, tmp_path, data)


@pytest.mark.parametrize(
    ("mapping", "match"),
    [
        ("x = 1", r"no table \[categories\]"),
        ("[categories", "cannot be read"),
        ("[categories]\nrust = 3", "must be a text"),
        ('[categories]\nrust = "no-such-tag"', "unknown tag 'no-such-tag'"),
        ('[categories]\nrust = "rusted-connector=yes"', "unknown value 'yes'"),
    ],
)
def test_a_mapping_that_does_not_fit_is_refused(
    library: Library, tmp_path: Path, mapping: str, match: str
) -> None:
    with pytest.raises(BadInput, match=match):
        read(library, tmp_path, coco(), mapping)


def test_a_folder_tree_says_present_by_content(library: Library, tmp_path: Path) -> None:
    tree = tmp_path / "tree"
    for folder, name, content in [
        (TAG, "renamed.jpg", "D-1/a.jpg"),
        ("clean", "b.jpg", "D-1/b.jpg"),
        (TAG, "foreign.jpg", "another"),
        ("nonsense", "c.jpg", "D-1/b.jpg"),
        (TAG, ".hidden", "D-1/b.jpg"),
    ]:
        (tree / folder).mkdir(parents=True, exist_ok=True)
        (tree / folder / name).write_text(content)
    (tree / TAG / "link.jpg").symlink_to(
        library.originals.path(queries.find_photo(library, "b.jpg").sha, ".jpg")
    )
    (tree / "linked").symlink_to(tree / TAG)
    (tmp_path / "map.toml").write_text('[categories]\nclean = "rusted-connector=absent"')
    rows, aside = read_labels_file(library, tree, tmp_path / "map.toml")
    assert {(row.photo, row.value) for row in rows} == {
        (queries.find_photo(library, "a.jpg").sha, "present"),
        (queries.find_photo(library, "b.jpg").sha, "absent"),
    }
    reasons = sorted(one.reason for one in aside)
    assert len(reasons) == 3
    assert "'nonsense' is not a tag" in reasons[2]
    assert "not followed" in reasons[1]
    assert "ingest it first" in reasons[0]
    assert store_rows(library, rows, aside, by="ann").new == 2
    (tmp_path / "empty").mkdir()
    with pytest.raises(BadInput, match="no folders with photos"):
        read_labels_file(library, tmp_path / "empty")
