"""Ed25519 as it signs our releases, against RFC 8032, 7.1: TEST 1 to TEST 3."""

from __future__ import annotations

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from rig.records.keys import holds, message, public_bytes, sign

# secret key, public key, message, signature
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
        "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
        "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
]


@pytest.mark.parametrize(("secret", "public", "text", "signature"), VECTORS, ids=["TEST 1", "TEST 2", "TEST 3"])
def test_the_vectors(secret: str, public: str, text: str, signature: str) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert public_bytes(key) == public
    assert key.sign(bytes.fromhex(text)).hex() == signature


@pytest.mark.parametrize(("secret", "public", "text", "signature"), VECTORS, ids=["TEST 1", "TEST 2", "TEST 3"])
def test_our_signature_is_the_plain_one_over_kind_purpose_and_text(
    secret: str, public: str, text: str, signature: str
) -> None:
    key, said = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)), bytes.fromhex(text)
    ours = sign(key, "workshop", "release 1", said)
    assert (
        ours
        == key.sign(b"refurb-rig workshop release 1\n" + said).hex()
        == key.sign(message("workshop", "release 1", said)).hex()
    )
    assert holds(public, "workshop", "release 1", said, ours)
    assert not holds(public, "practice", "release 1", said, ours)
    assert not holds(public, "workshop", "certificate 1", said, ours)
    assert not holds(public, "workshop", "release 1", said + b" ", ours)
    assert not holds(public, "workshop", "release 1", said, signature)


@pytest.mark.parametrize("public", ["", "zz", "00" * 31, VECTORS[1][1]])
def test_another_or_no_key_holds_nothing(public: str) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(VECTORS[0][0]))
    assert not holds(public, "workshop", "release 1", b"x", sign(key, "workshop", "release 1", b"x"))
