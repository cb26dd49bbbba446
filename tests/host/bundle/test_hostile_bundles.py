"""A hostile bundle is refused in one sentence and changes nothing."""

import json
import os
import struct
import zipfile
import zlib
from dataclasses import replace

import pytest

from emberbed.bundle import layout
from emberbed.bundle.layout import BundleError
from emberbed.bundle.read import read_bundle
from emberbed.bundle.take_in import take_in
from tests.host.bundle.carried import OTHERS

# hostile bundles


def entries_of(bundle):
    with zipfile.ZipFile(bundle) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def written(path, entries, compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", compression) as archive:
        for name, content in entries.items():
            archive.writestr(name, content)
    return path


def refused(path, store, word=""):
    """Take a file in, which must be refused in one sentence without a trace in the store."""
    before = store.runs()
    with pytest.raises(BundleError) as failure:
        take_in(store, read_bundle(path), path)
    said = str(failure.value)
    assert "\n" not in said and "\x1b" not in said and len(said) < 400 and word in said
    assert store.runs() == before
    assert store.database.all("SELECT count(*) FROM stretch")[0][0] == len(before)


@pytest.fixture
def changed(bundle, tmp_path):
    """Return a function that writes the bundle with entries or values of its JSON changed."""

    def change(entries=(), **told):
        content = entries_of(bundle) | dict(entries)
        if told:
            plain = json.loads(content[layout.RUN])
            for name, value in told.items():
                where = plain["run"] if name in plain["run"] else plain
                where[name] = value
            content[layout.RUN] = json.dumps(plain).encode()
        return written(tmp_path / "changed.zip", content)

    return change


@pytest.mark.parametrize(
    "content",
    [b"", b"PK", b"no zip at all" * 100, b"PK\x05\x06" + bytes(18), b"PK\x03\x04" + bytes(200)],
)
def test_files_that_are_no_zip_are_refused(away, tmp_path, content):
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    refused(path, away)


def test_what_is_no_file_is_refused(away, tmp_path):
    refused(tmp_path / "nothing.zip", away)
    refused(tmp_path, away)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        refused(tmp_path / "pipe", away)


@pytest.mark.parametrize(
    "name",
    ["../evil.txt", "/etc/cron.d/x", "run.json/../x", "C:\\x", "plan.bin ", "tick.py", "x" * 60000],
)
def test_other_names_are_refused_and_nothing_is_written(away, bundle, tmp_path, name):
    before = sorted(tmp_path.rglob("*"))
    path = written(tmp_path / "x.zip", {**entries_of(bundle), name: b"x"})
    refused(path, away, "other files")
    path.unlink()
    assert sorted(tmp_path.rglob("*")) == before


def test_an_entry_twice_or_left_out_is_refused(away, bundle, tmp_path):
    entries = entries_of(bundle)
    for name in entries:
        refused(written(tmp_path / "x.zip", {n: c for n, c in entries.items() if n != name}), away)
    path = written(tmp_path / "y.zip", entries)
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(path, "a") as archive:
        archive.writestr(layout.PLAN, b"another")
    refused(path, away)


@pytest.mark.parametrize("name", list(layout.MOST_BYTES))
def test_entries_larger_than_any_are_refused(away, changed, monkeypatch, name):
    monkeypatch.setitem(layout.MOST_BYTES, name, 10_000)
    refused(changed({name: bytes(10_001)}), away, "larger than any")


def test_a_bomb_does_not_fill_the_memory(away, changed, monkeypatch):
    monkeypatch.setitem(layout.MOST_BYTES, layout.SNAPSHOTS, 1_000_000)
    refused(changed({layout.SNAPSHOTS: bytes(300_000_000)}), away, "larger than any")


def test_a_length_that_lies_is_refused(away, bundle, tmp_path):
    """The central directory says that an entry is small; what is packed is not."""
    content = bytearray(bundle.read_bytes())
    at = content.rindex(b"PK\x01\x02", 0, content.rindex(b"PK\x01\x02"))
    struct.pack_into("<I", content, at + 24, 5)  # uncompressed size, APPNOTE.TXT 4.3.12
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    refused(path, away)


def test_other_ways_of_packing_are_refused(away, bundle, tmp_path):
    refused(written(tmp_path / "x.zip", entries_of(bundle), zipfile.ZIP_LZMA), away, "packed in")
    content = bytearray(bundle.read_bytes())
    content[content.rindex(b"PK\x01\x02") + 8] |= 1  # encrypted
    path = tmp_path / "y.zip"
    path.write_bytes(content)
    refused(path, away, "packed in")


def test_a_file_that_is_cut_anywhere_is_refused(away, bundle, tmp_path):
    content = bundle.read_bytes()
    path = tmp_path / "x.zip"
    for length in range(0, len(content) - 1, max(1, len(content) // 60)):
        path.write_bytes(content[:length])
        refused(path, away)


def test_a_flipped_byte_anywhere_is_refused_or_changes_nothing(away, bundle, tmp_path):
    content = bundle.read_bytes()
    whole = read_bundle(bundle)
    path = tmp_path / "x.zip"
    found = 0
    for at in range(0, len(content), max(1, len(content) // 250)):
        spoilt = bytearray(content)
        spoilt[at] ^= 0x20
        path.write_bytes(spoilt)
        try:
            assert read_bundle(path) == whole
        except BundleError:
            found += 1
    assert found > 200


@pytest.mark.parametrize(
    "text",
    [
        b"", b"[]", b"null", b"{", b'{"bundle": 1}', b'{"bundle": 2}', b"\xff\xfe", b"[" * 100_000,
        b'{"bundle": NaN}', b'{"bundle": ' + b"9" * 5000 + b"}", b'{"bundle": 1, "run": []}',
        b'{"bundle": true, "run": {}}', b"cos\nsystem\n(S'true'\ntR.",
    ],
)  # fmt: skip
def test_odd_json_is_refused(away, changed, text):
    refused(changed({layout.RUN: text}), away)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("state", "open"), ("state", "won"), ("profile_name", 7), ("profile_name", "\x1b[2J"),
        ("profile_name", "right\u202eleft"), ("device", None), ("trip", "x"), ("trip", 2**63),
        ("trip", -1), ("trip", 1.0), ("trip", True), ("seed", []), ("simulated", 2),
        ("head_sha256", "zz"), ("head_sha256", "00"), ("head_sha256", None), ("id", 0), ("id", "1"),
        ("events", None), ("events", [[1]]), ("events", {}), ("events", [[1, 1, "a", "\x07"]]),
        ("notes", [[1, "", ""]]), ("blocks", [[0, "00"]]), ("blocks", []), ("snapshots", [[1, 5]]),
        ("snapshots", [[1, -5]]), ("stretches", []), ("stretches", [[1] * 8]),
        ("stretches", [[1] * 6 + ["00" * 32, 2**62]]), ("events", [[1, 2, "a", "b"]] * 100_001),
    ],
)  # fmt: skip
def test_odd_values_are_refused(away, changed, name, value):
    refused(changed(**{name: value}), away)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("exit_code", 5), ("limits_exceeded", 0), ("started_utc", "2020"), ("profile_name", "Mine"),
        ("firmware_digest", "ab" * 32), ("linked_to", None), ("linked_to", 99), ("events", []),
        ("notes", []), ("later_sha256", None), ("session", 5), ("process_node", "elsewhere"),
        ("trip_counts", "00"), ("state", "stopped"), ("bundled_run", 3), ("bundled_linked_to", 9),
    ],
)  # fmt: skip
def test_a_run_that_was_changed_is_refused(away, changed, name, value):
    refused(changed(**{name: value}), away, "was changed after the run was recorded")


@pytest.mark.parametrize("entry", [layout.PLAN, layout.SETTINGS, layout.PROFILE, layout.STRETCHES,
                                   layout.SNAPSHOTS])  # fmt: skip
def test_bytes_that_were_changed_are_refused(away, bundle, changed, entry):
    content = bytearray(entries_of(bundle)[entry])
    content[len(content) // 2] ^= 1
    refused(changed({entry: bytes(content)}), away)


def test_a_stretch_that_unpacks_to_too_much_is_refused(away, bundle, changed):
    told = json.loads(entries_of(bundle)[layout.RUN])
    bomb = zlib.compress(bytes(50_000_000), 9)
    row = told["stretches"][0]
    row[-1], row[5] = len(bomb), zlib.crc32(bomb)
    refused(changed({layout.STRETCHES: bomb}, stretches=[row]), away, "cannot read")


def test_hidden_characters_in_the_profile_are_refused(away, changed):
    refused(changed({layout.PROFILE: b'name = "\x1b]0;x\x07"'}), away)


def test_what_was_read_is_what_is_checked(away, bundle):
    """Even a bundle that was read well is not trusted to fit together."""
    found = read_bundle(bundle)
    with pytest.raises(BundleError, match="was changed"):
        take_in(away, replace(found, events=found.events[:1]), bundle)
    assert len(away.runs()) == OTHERS
