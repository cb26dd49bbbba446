"""The run page of hostile, odd, changed and gappy runs: text is only text."""

import re
import sqlite3
import xml.etree.ElementTree as ElementTree

import pytest

from emberbed.report.run_page import write_run_page
from emberbed.store.faults import StoreError
from emberbed_fw.settings import CONVERTER_MAX31855K
from emberbed_fw.units import CALIBRATION_ONE_Q12
from tests.host.report.pages import Page, page_of
from tests.host.store.synthetic_run import (
    PROFILE,
    drawn_record,
    facts,
    store_run,
)
from tests.support.plans import bench_settings

HOSTILE = "\"><script>alert('x')</script><img src=x onerror=alert(1)>&amp;"


def test_hostile_text_is_only_text(store):
    names = bench_settings(
        channels=tuple(
            (name, CONVERTER_MAX31855K, 26000, 0, CALIBRATION_ONE_Q12)
            for name in ("<script>", "'\"><svg/onload")
        )
    )
    quoted = HOSTILE.replace('"', '\\"')
    profile = PROFILE.replace("Apply flux along two sides of the chip", quoted)
    profile = profile.replace("SAC305", "</style><b>")
    run_id = store.begin_run(
        facts(
            profile_name=HOSTILE,
            profile_toml=profile,
            settings=names,
            device=HOSTILE,
            engine=HOSTILE,
            firmware_version=HOSTILE,
            firmware_digest=HOSTILE,
            host_version=HOSTILE,
            speed=HOSTILE,
            started_utc=HOSTILE,
        )  # fmt: skip
    )
    for first in range(0, 1500, 10):
        store.append(run_id, [drawn_record(first + more) for more in range(10)])
    store.add_event(run_id, 3, "note", HOSTILE)
    store.end_run(run_id, "stopped", 4)
    source = page_of(store, run_id)
    page = Page(source)
    kinds = {tag for tag, _attributes in page.tags}
    assert not kinds & {"script", "img", "b", "iframe", "object", "link", "onload"}, kinds
    for _tag, attributes in page.tags:
        assert not any(name.startswith("on") for name in attributes), attributes
    assert page.plain.count("<script>alert('x')</script>") >= 9  # told as it was written
    assert "3 wait: " + HOSTILE in page.plain and "</style><b>" in page.plain
    assert "<script>" in page.plain and "'\"><svg/onload" in page.plain


def test_the_page_needs_nothing_else(store):
    source = page_of(store, store_run(store, [drawn_record(tick) for tick in range(100)]))
    page = Page(source)
    assert "script" not in {tag for tag, _attributes in page.tags}
    policy = [a["content"] for _tag, a in page.tags if a.get("http-equiv")]
    assert policy == ["default-src 'none'; style-src 'unsafe-inline'"]
    for tag, attributes in page.tags:
        for name in ("src", "href", "xlink:href", "data"):
            assert attributes.get(name, "#").startswith("#"), (tag, attributes)
    assert "@import" not in source and not re.search(r"url\((?!#)", source)
    assert "prefers-color-scheme: dark" in source and "@media print" in source
    chart = source[source.index("<svg") : source.index("</svg>") + 6]
    ElementTree.fromstring(chart)


def test_a_header_that_cannot_be_read_still_gives_a_page(store):
    run_id = store_run(store, [drawn_record(tick) for tick in range(50)], plan=b"\x09",
                       settings=b"", profile_toml="= no TOML")  # fmt: skip
    said = Page(page_of(store, run_id)).plain
    assert "cannot be read by this version" in said and "channel0" in said


@pytest.mark.parametrize(
    "profile", ["", "stages = 3", "stages = [1]", "board = 7", "board = { mass_g = 3 }"]
)
def test_odd_profiles_do_no_harm(store, profile):
    run_id = store_run(store, [drawn_record(0)], profile_toml=profile)
    assert "Weather logger" in Page(page_of(store, run_id)).plain


def test_tampering_is_said_on_the_page(store):
    run_id = store_run(store, [drawn_record(tick) for tick in range(30)], end=None)
    with sqlite3.connect(store.path) as connection:
        connection.execute("UPDATE tick SET channel0_cdeg = 1 WHERE tick = 4")
    connection.close()
    said = Page(page_of(store, run_id)).plain
    assert "changed or damaged after it was stored" in said and "does not fit the record" in said
    assert "Tick 4: the column channel0_cdeg" in said


def test_gaps_are_said(store):
    records = [drawn_record(tick) for tick in (*range(20), *range(50, 80))]
    said = Page(page_of(store, store_run(store, records))).plain
    assert "longest gap 3.0 s" in said


def test_a_page_that_cannot_be_written(store, tmp_path):
    run_id = store_run(store, [drawn_record(0)])
    with pytest.raises(StoreError, match="cannot be written.*name another file") as caught:
        write_run_page(store, run_id, tmp_path)
    assert str(tmp_path) in str(caught.value)
    with pytest.raises(StoreError, match="has no run 8"):
        write_run_page(store, 8, tmp_path / "page.html")
