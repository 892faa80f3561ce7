"""The lists of exact versions fit pyproject.toml, and every file in them has a hash."""

import re
import tomllib

import pytest
from common import ROOT
from packaging.requirements import Requirement
from packaging.version import Version

LISTS = ROOT / "tools" / "locks"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
CORE = [Requirement(one) for one in PROJECT["dependencies"]]
EXTRAS = [Requirement(one) for some in PROJECT["optional-dependencies"].values() for one in some]


def locked(name: str) -> list[tuple[str, Version, int]]:
    """Return (package, version, how many hashes) of every entry that this Python and system installs."""
    found = []
    for block in re.split(r"\n(?=[A-Za-z0-9])", (LISTS / name).read_text()):
        requirement = Requirement(block.split(" \\\n")[0].strip())
        (pin,) = requirement.specifier
        assert pin.operator == "=="
        if requirement.marker is None or requirement.marker.evaluate():
            found.append((_plain(requirement.name), Version(pin.version), block.count("--hash=sha256:")))
    return found


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


@pytest.mark.parametrize("requirement", [*CORE, *EXTRAS], ids=str)
def test_every_dependency_has_a_floor_and_a_ceiling(requirement):
    operators = {one.operator for one in requirement.specifier}
    assert ">=" in operators
    assert "<" in operators


@pytest.mark.parametrize("name", ["demo.txt", "tests.txt", "oldest.txt"])
def test_a_list_fits_the_project_and_every_entry_has_its_hashes(name):
    entries = locked(name)
    assert all(hashes for _, _, hashes in entries)
    versions = {package: version for package, version, _ in entries}
    for requirement in CORE if name == "demo.txt" else [*CORE, *EXTRAS]:
        if requirement.marker is None or requirement.marker.evaluate():
            assert versions[_plain(requirement.name)] in requirement.specifier, (
                f"{requirement}: run tools/lock"
            )
