"""Technical Guidelines for Digitizing Cultural Heritage Materials, September 2016: the chapter tables' resolutions.

Figures as the tables print them, 1 to 4 stars, read in a full-text copy by the check-values' author.
"""

import pytest

from takeup.judge.scan import level_of
from takeup.tables.loader import load_rows

TABLES = {
    "print": [100, 200, 400, 600],  # Prints and Photographs
    "document": [150, 300, 300, 400],  # Documents (unbound), general
    "newspaper": [150, 300, 300, 400],  # Newspapers
    "film": [1000, 2000, 3000, 4000],  # Transparencies; Negatives, 35 mm to 4x5 inch: identical
}


@pytest.mark.parametrize("family", TABLES)
def test_resolution_levels_are_those_of_the_chapter(family):
    row = load_rows()[f"scan.resolution.{family}.levels"]
    assert row.value == TABLES[family]
    assert row.grade == "verified" and row.source == "fadgi-2016"


# "1200 ppi film scans reach 1* in ppi only; 600 ppi prints reach 4*; 300 ppi documents reach 3*" (check values, 1.1)
@pytest.mark.parametrize(("family", "ppi", "level"), [("film", 1200, 1), ("print", 600, 4), ("document", 300, 3)])
def test_what_the_labs_aims_reach(family, ppi, level):
    assert level_of(ppi, TABLES[family], slack=0.01) == level


# Prints; Documents (unbound), general; Transparencies as Prints: the rows SFR10, SFR50, sharpening, 1 to 4 stars
def test_sharpness_levels_are_those_of_the_chapters():
    rows = load_rows()
    wanted = {
        "efficiency": [0.6, 0.7, 0.8, 0.9],
        "most": [1.3, 1.2, 1.1, 1.0],
        "print.half": [[0.25, 0.95], [0.30, 0.85], [0.35, 0.75], [0.40, 0.65]],
        "document.half": [[0.30, 0.85], [0.30, 0.85], [0.35, 0.75], [0.40, 0.65]],
    }
    for key, value in wanted.items():
        row = rows[f"scan.sharpness.{key}"]
        assert row.value == value
        assert (row.grade, row.source) == ("verified", "fadgi-2016")
