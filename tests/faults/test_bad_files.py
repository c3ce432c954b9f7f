"""Bad files: a table of them, and files spoilt at random. Whatever a file holds, it is answered with InputError.

A longer search, with fresh randomness, takes the number of files for each way of spoiling:

    RIG_FUZZ=10000 pytest tests/faults/test_bad_files.py
"""

# ruff: noqa: E501 (a table: one file a line)

from __future__ import annotations

import json
import os
import random
import re
import time
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rig.errors import Fault, InputError
from rig.plan.load import KINDS, Loaded, bundled, load, load_named, load_tree
from rig.plan.messages import NOT_UNDERSTOOD
from rig.plan.proof import prove, prove_profile
from rig.plan.proof_bench import prove_bench
from rig.plan.proof_causes import prove_causes
from rig.plan.source import plain, read_bytes

LONG = int(os.environ.get("RIG_FUZZ", "0"))
JARGON = re.compile(
    r"pydantic|https?:|<class|Traceback|input_value|input_type|union_tag|NoneType|validation error|errors\.py|0x7f"
)
BREAK = re.compile(r"\r\n|\r|\n")

HEAD = b"unit-profile: x\ntitle: X\nrevision: '1'\nsource: s\n"
BOMB = b"a: &a [x, x]\n" + b"".join(
    b"%c: &%c [%s]\n" % (98 + i, 98 + i, b", ".join([b"*%c" % (97 + i)] * 10)) for i in range(9)
)

TABLE: list[tuple[str, bytes, int, int, tuple[str, ...]]] = [
    # the bytes
    ("empty", b"", 1, 1, ("empty",)),
    ("only a comment", b"# nothing\n\n", 1, 1, ("empty",)),
    ("only a mark", b"\xef\xbb\xbf", 1, 1, ("empty",)),
    ("only a separator", b"---\n", 1, 4, ("key: value",)),
    ("latin-1", HEAD + b"facts: {}\nlimits: {}\n# \xe9t\xe9\n", 7, 3, ("0xe9", "UTF-8")),
    ("utf-16", "bench: x\n".encode("utf-16"), 1, 1, ("0xff", "UTF-8")),
    ("bad byte behind wide characters", "a: ü火😀".encode() + b"\xff", 1, 7, ("0xff",)),
    ("bad byte behind a mark", b"\xef\xbb\xbfa: \xff", 1, 4, ("0xff",)),
    ("cut in a character", b"a: \xe7\x81", 1, 4, ("0xe7",)),
    ("surrogate", b"a: \xed\xa0\x80", 1, 4, ("UTF-8",)),
    ("too large", b"a: " + b"x" * (1 << 20), 1, 1, ("1024 KiB",)),
    # characters that hide
    ("NUL", b"a: x\0y", 1, 5, ("\\x00", "remove")),
    ("terminal escape", b"title: x\nb: \x1b[2J", 2, 4, ("\\x1b",)),
    ("escape in quotes", b'a: "\\e[31m"', 1, 4, ("\\x1b",)),
    ("hex escape in quotes", b'a: "\\x07"', 1, 4, ("\\x07",)),
    ("C1 control", "a: \x9b31m".encode(), 1, 4, ("\\x9b",)),
    ("right to left", "a: x\u202ey".encode(), 1, 5, ("\\u202e",)),
    ("isolate", b'a: "\\u2066"', 1, 4, ("\\u2066",)),
    ("line separator", "a: x\u2028b: y".encode(), 1, 5, ("\\u2028",)),
    ("mark inside", "a: \ufeffx".encode(), 1, 4, ("\\ufeff",)),
    ("delete", b"a: \x7f", 1, 4, ("\\x7f",)),
    # what YAML offers and we refuse
    ("anchor", b"a: &b c", 1, 4, ("anchors", "&b")),
    ("alias", b"a: 1\nb: *a", 2, 4, ("aliases", "*a")),
    ("list that holds itself", b"&a [*a]", 1, 1, ("anchors",)),
    ("alias bomb", BOMB, 1, 4, ("anchors",)),
    ("merge key", b"a:\n  <<: {b: 1}", 2, 3, ("merge",)),
    ("tag", b"a: !!int '3'", 1, 4, ("tags",)),
    ("local tag", b"a: !thing 3", 1, 4, ("tags", "!thing")),
    ("bare tag", b"a: ! 3", 1, 4, ("tags",)),
    ("python object", b"a: !!python/object/apply:os.system ['x']", 1, 4, ("tags",)),
    ("tag directive", b"%TAG ! tag:x,2000:\n---\na: 1", 1, 1, ("%TAG",)),
    ("another version", b"%YAML 2.0\n---\na: 1", 1, 1, ("incompatible",)),
    ("second document", b"a: 1\n---\nb: 2", 2, 1, ("second document",)),
    ("end and more", b"a: 1\n...\nb: 2", 3, 1, ("one document",)),
    ("list as a key", b"? [a, b]\n: c", 1, 3, ("key", "list")),
    ("number as a key", b"a: 1\n12: 2", 2, 1, ("key", "12", "quotes")),
    ("truth as a key", b"true: 1", 1, 1, ("key", "true")),
    ("nothing as a key", b"~: 1", 1, 1, ("key", "~")),
    ("key twice", b"a: 1\nb: 2\na: 3", 3, 1, ("'a'", "twice", "line 1")),
    ("key twice, quoted once", b"{a: 1, 'a': 2}", 1, 8, ("twice",)),
    ("key twice, deep", b"a:\n  b: {c: 1,\n    c: 2}", 3, 5, ("twice", "line 2")),
    ("infinity", b"a: .inf", 1, 4, (".inf",)),
    ("no number", b"a: .NaN", 1, 4, (".NaN",)),
    ("too large a number", b"a: 1e999", 1, 4, ("too large",)),
    ("nineteen digits", b"a: 1234567890123456789", 1, 4, ("18 digits",)),
    ("five thousand digits", b"a: " + b"9" * 5000, 1, 4, ("18 digits",)),
    ("long octal", b"a: 0o" + b"7" * 5000, 1, 4, ("18 digits",)),
    ("deep list", b"[" * 25, 1, 25, ("24 deep",)),
    ("very deep list", b"[" * 900, 1, 25, ("24 deep",)),
    ("list that is too deep for the library", b"a: " + b"[" * 5000, 1, 1003, ("24 deep",)),
    ("long key", b"k" * 5000 + b": 1", 1, 5001, ("a key is longer than 1024",)),
    ("decimal comma", HEAD + b"facts: {}\nlimits: {a: {at-most: 1,5 V, source: s}}\n", 6, 25, ("'5 V'", "a point")),
    ("deep mapping", b"{a: " * 25, 1, 97, ("24 deep",)),
    ("deep block", b"".join(b" " * i + b"a:\n" for i in range(30)), 25, 25, ("24 deep",)),
    ("many values", b"[" + b"1," * 60000 + b"]", 1, 100000, ("50000",)),
    # slips of the hand
    ("tab", b"a:\n\tb: 1", 2, 1, ("tab", "spaces")),
    ("colon in text", b"title: Note: this", 1, 12, ("':'", "quotes")),
    ("at sign", b"a: @b", 1, 4, ("'@'", "quotes")),
    ("percent sign", b"a: %b", 1, 4, ("'%'", "quotes")),
    ("open quote", b"a: 'b\nc: d\n", 2, 5, ("end",)),
    ("open bracket", b"a: [b, c\n", 1, 9, ("cannot be read as YAML",)),
    ("indented too little", b"a:\n   b: 1\n  c: 2", 3, 3, ("indentation",)),
    ("list and mapping", b"a: 1\n- b", 2, 1, ("indentation",)),
    ("missing colon", b"a: 1\nb\nc: 2", 3, 1, ("':'",)),
    ("words", b"hello", 1, 1, ("key: value", "procedure:")),
    ("list", b"- a", 1, 1, ("key: value",)),
    ("unknown kind", b"proceedure: x\n", 1, 1, ("nearest is 'procedure'",)),
    ("kind not first", b"title: x\nbench: y\n", 2, 1, ("first key", "'title'")),
    ("no space behind the colon", b"{unit-profile:x}", 1, 2, ("unit-profile:x",)),
    # our own models
    ("missing keys", HEAD + b"limits: {}\n", 1, 1, ("'facts' is missing",)),
    ("unknown key", HEAD + b"facts: {}\nlimit: {}\n", 6, 1, ("unknown key 'limit'", "nearest is 'limits'")),
    ("escape in an unknown key", HEAD + b'facts: {}\nlimits: {}\n"a\\e": 1', 7, 1, ("\\x1b",)),
    ("no value", HEAD + b"facts:\nlimits: {}\n", 5, 1, ("'facts' has no value",)),
    ("unit", HEAD + b"facts: {}\nlimits: {a: {at-most: 3 Vlt, source: s}}\n", 6, 23, ("unknown unit 'Vlt'", "nearest is 'V'")),
    ("key without a space", HEAD + b"facts: {a:1}\nlimits: {}\n", 5, 9, ("'a:1' has no value",)),
    ("time as older readers have it", HEAD + b"facts: {}\nlimits: {a: {at-most: 1:30, source: s}}\n", 6, 23, ("unknown unit ':30'",)),
    ("list for a mapping", b"bench: x\ntitle: X\nsimulated: true\nlinks: {}\ninstruments: {}\noutputs: []\n", 6, 10, ("mapping", "a list")),
]  # fmt: skip


@pytest.mark.parametrize(("data", "line", "column", "words"), [row[1:] for row in TABLE], ids=[row[0] for row in TABLE])
def test_a_bad_file_is_told_by_place_and_reason(
    tmp_path: Path, data: bytes, line: int, column: int, words: tuple[str, ...]
) -> None:
    path = tmp_path / "bad.yaml"
    path.write_bytes(data)
    with pytest.raises(InputError) as caught:
        load(path)
    assert caught.value.exit_code == 2
    first = caught.value.faults[0]
    assert (first.line, first.column) == (line, column), first
    for word in words:
        assert word in first.message, first
    sound(caught.value.faults, data)


def sound(faults: tuple[Fault, ...] | list[Fault], data: bytes) -> None:
    """Every fault lies within the file and is fit to be shown to a person."""
    assert faults
    assert list(faults) == sorted(set(faults)), "sorted, each once"
    lines = BREAK.split(data.decode("utf-8-sig", "replace"))
    for fault in faults:
        assert 1 <= fault.line <= len(lines), fault
        assert 1 <= fault.column <= len(lines[fault.line - 1]) + 1, fault
        assert fault.message.isprintable(), repr(fault.message)
        assert str(fault).isprintable(), repr(str(fault))
        assert not JARGON.search(fault.message), fault
        assert NOT_UNDERSTOOD not in fault.message, fault
        assert 5 < len(fault.message) < 1500, fault


BUNDLED = {kind: {name: path.read_bytes() for name, path in bundled(kind).items()} for kind in KINDS}
FILES = [data for files in BUNDLED.values() for data in files.values()]
BENCH = load_named("bench", "simulated")
UNIT = load_named("unit-profile", "demo-18-dc")
PROCEDURE = load_named("procedure", "incoming-inspection")


def proved(loaded: Loaded) -> list[Fault]:
    """What the proof says of a file, each beside the bundled others."""
    if loaded.kind == "bench":
        return [*prove_bench(loaded), *prove(PROCEDURE, UNIT, loaded)]
    if loaded.kind == "unit-profile":
        return [*prove_profile(loaded), *prove(PROCEDURE, loaded, BENCH)]
    if loaded.kind == "complaint":
        return prove_causes(loaded)
    return prove(loaded, UNIT, BENCH) if loaded.kind == "procedure" else []


SLOWEST = 2.0  # s of processor time that a file may take; looked at in the longer search only


def attempt(data: bytes) -> None:
    """Read, load and prove a file: nothing but InputError may come of it, and all it says is sound."""
    began = time.process_time()
    answer(data)
    assert not LONG or time.process_time() - began < SLOWEST, data


def answer(data: bytes) -> None:
    """What comes of a file."""
    try:
        loaded = load_tree(read_bytes(data, "spoilt.yaml"), Path("spoilt.yaml"))
    except InputError as error:
        sound(error.faults, data)
        return
    faults = sorted({f for f in proved(loaded) if f.file == "spoilt.yaml"})
    if faults:
        sound(faults, data)


def fuzz(examples: int) -> settings:
    """As many files as are asked for; the same ones every time unless a longer search is wanted."""
    return settings(
        max_examples=LONG or examples,
        derandomize=not LONG,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.large_base_example],
    )


@fuzz(300)
@given(st.binary(max_size=300))
def test_random_bytes(data: bytes) -> None:
    attempt(data)


@fuzz(400)
@given(st.text(alphabet="ab:-? {}[],'\"|>&*!%@`#\n\r\t~<0123.eE+\x1b\u202e\u0085é😀", max_size=120))
def test_random_yaml(text: str) -> None:
    attempt(text.encode())


# What is put in a word's place: other meanings, broken marks, things out of reach.
ODD = [
    "", "~", "null", "on", "true", "010", "0x1F", "1e999", ".inf", "1:30", "2024-01-02", "-1", "1.5", "9" * 30, "[]", "{}",
    "[a, b]", "{a: b}", "&a b", "*a", "!!str x", "'", '"', "|", ">", "- x", "a: b", "? x", "#", "@x", "\t", "\x1b[31m",
    "\u202e", "\x00", "😀", "\\", '"\\e"', "x" * 3000, "profile x.y", "24 V", "-3 Cel", "0 s", "25 h", "5 %", "1e308 MOhm",
    "wet", "dead", "board drives", "mains", "heater", "fill-time", "../x", "<<", "---", "...", "%YAML 1.1",
]  # fmt: skip
WORD = re.compile(r"[^\s:,\[\]{}]+")


def spoil(text: str, rng: random.Random) -> str:
    """One small change, as a hand, a disk or a bad editor makes it."""
    lines = text.split("\n")
    at = rng.randrange(len(lines))
    way = rng.randrange(8)
    if way == 0:
        lines[at] = (
            rng.choice(["", " ", "  ", "    ", "\t"]) + lines[at].lstrip() if rng.random() < 0.5 else " " + lines[at]
        )
    elif way == 1:
        del lines[at : at + rng.randint(1, 4)]
    elif way == 2:
        lines.insert(rng.randrange(len(lines)), lines[at])
    elif way == 3:
        other = rng.randrange(len(lines))
        lines[at], lines[other] = lines[other], lines[at]
    elif way in (4, 5):
        found = list(WORD.finditer(lines[at]))
        if found:
            word = rng.choice(found)
            elsewhere = WORD.findall(rng.choice(lines))
            new = rng.choice([*ODD, *elsewhere]) if rng.random() < 0.7 else word.group()[:-1]
            lines[at] = lines[at][: word.start()] + new + lines[at][word.end() :]
    elif way == 6:
        place = rng.randrange(len(lines[at]) + 1)
        lines[at] = lines[at][:place] + rng.choice(ODD) + lines[at][place:]
    else:
        return text[: rng.randrange(len(text) + 1)]
    return "\n".join(lines)


@fuzz(300)
@given(st.sampled_from(FILES), st.integers(0, 2**32), st.integers(1, 3))
def test_bundled_files_with_words_and_lines_spoilt(data: bytes, seed: int, times: int) -> None:
    rng, text = random.Random(seed), data.decode()
    for _ in range(times):
        text = spoil(text, rng)
    attempt(text.encode())


@fuzz(150)
@given(st.sampled_from(FILES), st.integers(0, 2**32), st.integers(1, 4))
def test_bundled_files_with_bytes_spoilt(data: bytes, seed: int, times: int) -> None:
    rng, spoilt = random.Random(seed), bytearray(data)
    for _ in range(times):
        spoilt[rng.randrange(len(spoilt))] = rng.choice([rng.randrange(256), rng.choice(b":[]{}'\"-#&*!\n\t ,")])
    attempt(bytes(spoilt))


def test_a_tab_within_a_word_is_shown() -> None:
    """A tab is the one character of a file that a word may hold and that does not print."""
    whole = next(data for data in FILES if data.startswith(b"procedure: incoming-inspection"))
    spoilt = load_tree(read_bytes(whole.replace(b"AC coil", b"AC\tcoil"), "spoilt.yaml"), Path("spoilt.yaml"))
    told = [fault.message for fault in proved(spoilt) if "coil" in fault.message]
    assert told and all(r"'AC\tcoil'" in message and message.isprintable() for message in told)


SCALARS: list[Any] = [
    None, True, False, 0, -1, 3, 70000, 1.5, 1e300, "", "on", "x", "Ω", "24 V", "5 %", "-1 s", "20 ms", "profile fill.volume",
    "profile a", "mains", "level-probe", "wet", "resistance", "dead", "1 / 0", "a-b", "(" * 50, "station", "127.0.0.1:1", "x" * 5000,
]  # fmt: skip


def graft(value: Any, rng: random.Random) -> Any:
    """One node of a tree replaced, renamed, doubled or left out: well-formed files that mean something else."""
    if isinstance(value, (dict, list)) and value and rng.random() < 0.85:
        keys = list(value) if isinstance(value, dict) else list(range(len(value)))
        key = rng.choice(keys)
        way = rng.random()
        if way < 0.8:
            value[key] = graft(value[key], rng)
        elif way < 0.87:
            del value[key]
        elif isinstance(value, list):
            value.append(rng.choice(value))
        else:
            new = rng.choice(
                ["", "x", "settle", "measure", "time", "limit", "profile", "A b", "[key]", *map(str, keys)]
            )
            value[new] = value.pop(key) if rng.random() < 0.5 else rng.choice(SCALARS)
        return value
    return rng.choice([*SCALARS, [], {}, [value], {"x": value}, [value, value]])


@fuzz(400)
@given(st.sampled_from(FILES), st.integers(0, 2**32), st.integers(1, 3))
def test_bundled_files_with_parts_exchanged(data: bytes, seed: int, times: int) -> None:
    rng, tree = random.Random(seed), plain(read_bytes(data, "f"))
    for _ in range(times):
        tree = graft(tree, rng)
    attempt(json.dumps(tree, indent=rng.choice([None, 1])).encode())
