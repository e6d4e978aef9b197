"""Cards and files against published values: rates, FAT32, decimal gigabytes."""

import pytest
from published import Entry, chosen, entry, ids

from schedgen.physics import storage

RATES = chosen("sto.rate_")
CARDS = chosen("sto.card_")
COVERS = [*ids(RATES + CARDS), "sto.fat32_max_file"]


@pytest.mark.parametrize("published", RATES, ids=ids(RATES))
def test_rate(published: Entry) -> None:
    rate = published.inputs["Mbit_s"] * 1e6
    hour = storage.written(rate, 3600.0)
    published.holds(hour / storage.GB, "GB_per_h")
    published.holds(storage.gibibytes(hour), "GiB_per_h")
    published.holds(storage.recording_time(32 * storage.GB, rate) / 3600, "h_on_32GB")
    minutes = storage.recording_time(storage.LARGEST_FILE, rate) / 60
    published.holds(minutes, "min_per_FAT32_file")
    assert storage.files(minutes * 60 * 0.999, rate) == 1
    assert storage.files(minutes * 60 * 1.001, rate) == 2


def test_largest_file() -> None:
    entry("sto.fat32_max_file").holds(storage.LARGEST_FILE)


@pytest.mark.parametrize("published", CARDS, ids=ids(CARDS))
def test_card(published: Entry) -> None:
    label = published.inputs["label_GB"]
    published.holds(label * storage.GB, "bytes")
    published.holds(storage.gibibytes(label * storage.GB), "GiB")
