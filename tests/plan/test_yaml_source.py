"""What plain YAML words mean, and what is refused, with its place."""

from __future__ import annotations

import math
import os
from pathlib import Path

import pytest

from rig.errors import InputError
from rig.plan import source
from rig.plan.source import Mapping, Scalar, Sequence, plain, read, read_bytes
from rig.plan.visible import visible


def value(text: str) -> object:
    return plain(read_bytes(f"a: {text}\n".encode(), "f"))["a"]


# YAML 1.2.2, 10.3.2 "Tag Resolution": the core schema's regular expressions and their examples (yaml.org/spec/1.2.2)
@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("null", None), ("Null", None), ("NULL", None), ("~", None), ("", None),
        ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
        ("tRUE", "tRUE"),
        ("on", "on"), ("off", "off"), ("yes", "yes"), ("No", "No"), ("ON", "ON"), ("y", "y"), ("n", "n"),
        ("0", 0), ("010", 10), ("0777", 777), ("08", 8), ("+12", 12), ("-19", -19), ("0o7", 7), ("0o17", 15),
        ("0x3A", 58), ("0x1F", 31), ("-0x1F", "-0x1F"), ("0b101", "0b101"), ("1_000", "1_000"),
        ("0.", 0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0), ("1e3", 1000.0), ("1.0e3", 1000.0),
        ("1.10", 1.1), ("-0.0", 0.0), (".", "."), ("e3", "e3"),
        ("1:30", "1:30"), ("12:30:45", "12:30:45"), ("190:20:30", "190:20:30"),
        ("2024-01-02", "2024-01-02"), ("2001-12-14t21:59:43.10-05:00", "2001-12-14t21:59:43.10-05:00"),
        ("Infinity", "Infinity"), ("NaN", "NaN"), ("=", "="), ("<<", "<<"),
        ("'on'", "on"), ('"010"', "010"), ("'true'", "true"), ('""', ""), ("'~'", "~"),
        ("24 V", "24 V"), ("80 %", "80 %"), ("999999999999999999", 999999999999999999),
    ],
)  # fmt: skip
def test_what_a_plain_word_means(text: str, meant: object) -> None:
    found = value(text)
    assert found == meant
    assert type(found) is type(meant)


def test_block_text_is_text() -> None:
    assert value("|\n  010\n  on\n") == "010\non\n"
    assert value(">\n  12\n") == "12\n"


def test_the_yaml_directive_changes_nothing() -> None:
    assert plain(read_bytes(b"%YAML 1.1\n---\na: on\nb: 010\n", "f")) == {"a": "on", "b": 10}


def test_a_word_that_older_readers_take_for_a_truth_is_a_key() -> None:
    assert plain(read_bytes(b"on: 1\nno: 2\n", "f")) == {"on": 1, "no": 2}


def test_every_part_knows_its_place() -> None:
    tree = read_bytes("# é\na:\n  - x\n  - {b: ü, 'c': 2}\nd: >\n  text\n".encode(), "f")
    assert isinstance(tree, Mapping)
    first, second = tree.entries
    assert (tree.line, tree.column) == (2, 1)
    assert (first.key, first.line, first.column) == ("a", 2, 1)
    items = first.value
    assert isinstance(items, Sequence)
    assert (items.line, items.column) == (3, 3)
    assert items.items[0] == Scalar("x", "x", 3, 5)
    inner = items.items[1]
    assert isinstance(inner, Mapping)
    assert [(e.key, e.line, e.column, e.value.line, e.value.column) for e in inner.entries] == [
        ("b", 4, 6, 4, 9),
        ("c", 4, 12, 4, 17),
    ]
    assert (second.value.line, second.value.column) == (5, 4)


def test_columns_count_characters_not_bytes() -> None:
    with pytest.raises(InputError) as caught:
        read_bytes("'😀é': *x\n".encode(), "f")
    assert (caught.value.faults[0].line, caught.value.faults[0].column) == (1, 7)


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_line_ends_of_every_kind(ends: str) -> None:
    data = ends.join(["a: 1", "b: 2", "a: 3"]).encode()
    with pytest.raises(InputError) as caught:
        read_bytes(data, "f")
    assert [(f.line, f.column) for f in caught.value.faults] == [(3, 1)]


def test_a_byte_order_mark_is_nothing() -> None:
    tree = read_bytes(b"\xef\xbb\xbfa: 1\n", "f")
    assert plain(tree) == {"a": 1}
    assert (tree.line, tree.column) == (1, 1)


def test_all_faults_of_a_file_at_once_and_in_order() -> None:
    data = b"a: &x 1\nb: *x\na: .nan\nc: !!int 3\n1: 2\n"
    with pytest.raises(InputError) as caught:
        read_bytes(data, "f")
    found = [(f.line, f.column) for f in caught.value.faults]
    assert found == [(1, 4), (2, 4), (3, 1), (3, 4), (4, 4), (5, 1)]
    assert caught.value.exit_code == 2


def test_more_faults_than_anyone_reads_are_counted() -> None:
    data = b"".join(b"- *x\n" for _ in range(300))
    with pytest.raises(InputError) as caught:
        read_bytes(data, "f")
    assert len(caught.value.faults) == source.MAX_FAULTS + 1
    assert "200 faults more" in caught.value.faults[-1].message


def test_the_limits_of_size_depth_and_number() -> None:
    deep = "[" * source.MAX_DEPTH + "]" * source.MAX_DEPTH
    assert plain(read_bytes(deep.encode(), "f")) is not None
    for bad, word in [
        ("[" + deep + "]", "deep"),
        ("[" * 5000, "deep"),
        ("{a: " * 5000, "deep"),
        ("a: [" + ",".join("1" for _ in range(source.MAX_NODES)) + "]", "values"),
        ("a: " + "x" * source.MAX_BYTES, "KiB"),
    ]:
        with pytest.raises(InputError) as caught:
            read_bytes(bad.encode(), "f")
        assert word in caught.value.faults[-1].message or "nesting" in caught.value.faults[-1].message
    most = "[" + ",".join("1" for _ in range(source.MAX_NODES - 1)) + "]"
    assert len(plain(read_bytes(most.encode(), "f"))) == source.MAX_NODES - 1


def test_the_slow_loader_does_as_the_fast_one(monkeypatch: pytest.MonkeyPatch) -> None:
    import yaml

    text = "a: on\nb: [1, 0x1F, {c: 'd'}]\ne: |\n  f\n"
    fast = read_bytes(text.encode(), "f")
    monkeypatch.setattr(source, "_LOADER", yaml.SafeLoader)
    assert read_bytes(text.encode(), "f") == fast
    for bad in ("[" * 3000, "a: 'x", "a: b: c", "\ta: 1", "a: @x", "a: *x", "a: 1\n---\nb: 1", "", "? [a]\n: b"):
        with pytest.raises(InputError) as caught:
            read_bytes(bad.encode(), "f")
        assert caught.value.faults


def test_what_the_library_itself_cannot_take(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library is known to let such errors of Python through; each becomes a fault of the file."""

    def breaks(error: Exception) -> object:
        def parse(*_: object, **__: object) -> object:
            raise error

        return parse

    for error in (
        ValueError("x"),
        OverflowError("x"),
        RecursionError("x"),
        UnicodeDecodeError("utf-8", b"x", 0, 1, "x"),
    ):
        monkeypatch.setattr(source.yaml, "parse", breaks(error))
        with pytest.raises(InputError) as caught:
            read_bytes(b"a: 1", "f")
        assert "cannot be read as YAML" in caught.value.faults[0].message


def test_files_that_are_none(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path, words in [
        (tmp_path / "missing.yaml", "no such file"),
        (tmp_path, "not a plain file"),
        (pipe, "not a plain file"),
        (Path("/dev/null"), "not a plain file"),
        (f"{tmp_path}/a\0b.yaml", "NUL"),
        (f"{tmp_path}/" + "x" * 5000, "cannot be read"),
    ]:
        with pytest.raises(InputError) as caught:
            read(path)
        (fault,) = caught.value.faults
        assert words in fault.message
        assert (fault.line, fault.column) == (0, 0)
        assert "\0" not in str(fault)


def test_visible_text() -> None:
    assert visible("plain ü Ω 火") == "plain ü Ω 火"
    assert visible("\x1b[31mred\x07\r\n\t\0") == "\\x1b[31mred\\x07\\r\\n\\t\\x00"
    assert visible("a\u202eb\u2066c\u200fd\ufeff\u2028\x85\x9b") == "a\\u202eb\\u2066c\\u200fd\\ufeff\\u2028\\x85\\x9b"
    assert visible("\U000e0041\udc80") == "\\U000e0041\\udc80"
    assert visible("x" * 81) == "x" * 80 + "…"
    assert visible("x" * 80) == "x" * 80
    assert visible(12) == "12"


def test_zero_is_zero_with_its_sign() -> None:
    assert math.copysign(1.0, float(str(value("-0.0")))) == -1.0
