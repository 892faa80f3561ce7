"""The crew's list and sheet: order of the work, out and back, nothing closed by it."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from report_made import busy_deck, concern, summary
from test_library_reports import fill

from triage.assess import assess_library
from triage.errors import BadInput
from triage.label.rows import give_labels
from triage.library import Library, queries
from triage.report import read_repairs, write_repairs
from triage.report.concern_view import concern_numbers
from triage.report.repairs_list import crew_tasks, needs_repair
from triage.report.repairs_sheet import COLUMNS, EVENT, FILLED_IN, repair_rows


def tasks_of(*concerns: object) -> list[str]:
    numbered = concern_numbers(summary("d", *concerns))  # type: ignore[arg-type]
    return [task.phase for task in crew_tasks(numbered, {})]


def test_shore_first_and_photograph_before_covering() -> None:
    assert tasks_of(concern(element="flashing", repair="Clear it."), concern(element="ledger", rule="r")) == [
        "Shore first",
        "Repair",
        "Repair",
        "Photograph before covering",
        "Photograph when done",
    ]
    assert tasks_of(concern(element="guard")) == ["Repair", "Photograph when done"]
    assert tasks_of() == []


def test_what_carries_is_mended_from_the_ground_up_before_what_people_touch() -> None:
    elements = ["decking", "guard", "flashing", "joist", "hanger", "ledger", "beam", "post", "footing"]
    numbered = concern_numbers(
        summary("d", *(concern(element=e, rule=f"r-{e}", repair=f"Mend the {e}.") for e in elements))
    )
    done = [
        numbered[int(task.concerns)].element for task in crew_tasks(numbered, {}) if task.phase == "Repair"
    ]
    assert done == ["footing", "post", "beam", "ledger", "hanger", "joist", "flashing", "guard", "decking"]


@pytest.mark.parametrize(
    "changes",
    [{"standing": "possible"}, {"status": "repaired"}, {"kind": "departs-from-today"}, {"repair": ""}],
)
def test_only_open_hazards_that_somebody_saw_are_repaired(changes: dict[str, str]) -> None:
    assert needs_repair(concern())
    assert not needs_repair(concern(**changes))


def test_places_and_counts_stand_in_the_list() -> None:
    one, record = busy_deck()
    task = next(t for t in crew_tasks(concern_numbers(one), {}) if t.concerns == "2" and t.phase == "Repair")
    assert (task.place, task.quantity) == (one.concerns[1].place, "2 marked")
    rows = repair_rows(one, record, {})
    assert [row["order"] for row in rows] == list(range(1, len(rows) + 1))
    assert (
        next(row for row in rows if row["rule"] == "hanger-missing")["photo_before"] == "phone-a/IMG_0002.jpg"
    )


@pytest.fixture(scope="module")
def sheet_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("sheet")
    with Library.create(root / "lib") as lib:
        fill(lib, root / "photos")
        give_labels(
            lib,
            [(queries.photos(lib, "elm-07")[0], {"rusted-connector": "present"})],
            by="=Ben Sample",
            place='=post 1, "left"',
        )
    return root / "lib"


@pytest.fixture
def lib(sheet_library: Path, tmp_path: Path) -> Iterator[Library]:
    shutil.copytree(sheet_library, tmp_path / "lib")
    with Library.open(tmp_path / "lib") as library:
        yield library


def filled_in(file: Path, **cells: str) -> list[dict[str, str]]:
    with file.open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    for row in rows:
        row.update(cells)
    save(file, rows)
    return rows


def save(file: Path, rows: list[dict[str, str]], delimiter: str = ",") -> None:
    with file.open("w", newline="") as handle:
        writer = csv.DictWriter(handle, COLUMNS, delimiter=delimiter, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(rows)


def test_the_sheet_goes_out_empty_and_inert(lib: Library, tmp_path: Path) -> None:
    file = tmp_path / "crew.csv"
    assert write_repairs(lib, file)["rows"] >= 3
    with file.open(newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert tuple(rows[0]) == COLUMNS
    assert {row[name] for row in rows for name in FILLED_IN} == {""}
    assert not any(cell.startswith(("=", "+", "@")) for row in rows for cell in row.values())
    assert '\'=post 1, "left"' in {row["place"] for row in rows}
    assert "joist 4 of 14 from the left, house side" in {row["place"] for row in rows}


def test_an_empty_sheet_says_nothing(lib: Library, tmp_path: Path) -> None:
    write_repairs(lib, tmp_path / "crew.csv")
    before = lib.head()
    found = read_repairs(lib, tmp_path / "crew.csv", "Ada Sample")
    assert (found["new"], found["known"], found["set_aside"]) == (0, 0, [])
    assert lib.head() == before


@pytest.mark.parametrize("delimiter", [",", ";"])
def test_a_filled_in_sheet_comes_back_once(lib: Library, tmp_path: Path, delimiter: str) -> None:
    file = tmp_path / "crew.csv"
    count = write_repairs(lib, file)["rows"]
    rows = filled_in(file, done="2", by="Cara Sample", note="=looked odd")
    save(file, rows, delimiter)
    before = [one.to_json() for one in assess_library(lib)]
    found = read_repairs(lib, file, "Ada Sample")
    assert (found["rows"], found["new"], found["set_aside"]) == (count, count, [])
    again = read_repairs(lib, file, "Ada Sample")
    assert (again["new"], again["known"]) == (0, count)
    said = queries.statements(lib, EVENT)
    assert len(said) == count
    assert {(one.by, one.payload["done_by"], one.payload["count"]) for one in said} == {
        ("Ada Sample", "Cara Sample", 2)
    }
    assert [one.to_json() for one in assess_library(lib)] == before  # a crew's word closes nothing


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ({"done": "yes"}, "who did it"),
        ({"done": "perhaps", "by": "Cara Sample"}, "write yes, no"),
        ({"done": "yes", "by": "Cara Sample", "photo": "nowhere.jpg"}, "no photo"),
        ({"done": "yes", "by": "Cara Sample", "place": "joist 9 of 9"}, "no open concern"),
        ({"done": "yes", "by": "Cara Sample", "deck": "no-such-deck"}, "no open concern"),
    ],
)
def test_a_bad_row_is_set_aside_with_its_reason(
    lib: Library, tmp_path: Path, cells: dict[str, str], reason: str
) -> None:
    file = tmp_path / "crew.csv"
    count = write_repairs(lib, file)["rows"]
    filled_in(file, **cells)
    found = read_repairs(lib, file, "Ada Sample")
    assert found["new"] == 0
    assert len(found["set_aside"]) == count
    assert all(reason in one["reason"] for one in found["set_aside"])


def test_an_after_photo_belongs_to_the_deck(lib: Library, tmp_path: Path) -> None:
    file = tmp_path / "crew.csv"
    write_repairs(lib, file)
    other = queries.photos(lib, "elm-07")[0].sha[:12]
    rows = [row for row in filled_in(file, done="2026-05-06", by="Cara Sample") if row["deck"] == "birch-03"]
    save(file, [{**rows[0], "photo": "IMG_1.jpg"}, {**rows[0], "photo": other}])
    found = read_repairs(lib, file, "Ada Sample")
    assert found["new"] == 1
    assert "belongs to deck 'elm-07'" in found["set_aside"][0]["reason"]
    (said,) = queries.statements(lib, EVENT)
    assert said.payload["photo"] == queries.find_photo(lib, "birch-03/IMG_1.jpg").sha
    assert said.payload["day"] == "2026-05-06"


@pytest.mark.parametrize(
    ("content", "reason"),
    [(b"", "no header"), (b"a,b\n1,2\n", "no column 'deck'"), (b"deck\xe9", "not UTF-8 text")],
)
def test_another_file_is_no_sheet(lib: Library, tmp_path: Path, content: bytes, reason: str) -> None:
    file = tmp_path / "other.csv"
    file.write_bytes(content)
    with pytest.raises(BadInput, match=reason):
        read_repairs(lib, file, "Ada Sample")
    with pytest.raises(BadInput, match="cannot be read"):
        read_repairs(lib, tmp_path / "missing.csv", "Ada Sample")
