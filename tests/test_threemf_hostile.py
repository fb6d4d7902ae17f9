"""3MF files that are broken, huge or sly: every one is a FileFault that says why, never another exception."""

from __future__ import annotations

import io
import tracemalloc
import zipfile

import numpy as np
import pytest
from threemf_packages import OBJECT, SINGLE, TETRA_F, TETRA_V, model, package

from bandgen.errors import FileFault
from bandgen.exporters import threemf, threemf_model

FAR = '<item objectid="1" transform="2 0 0 0 1 0 0 0 1 0 0 1e308"/>'
BOMB = '<!DOCTYPE model [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
OUTSIDE = '<!DOCTYPE model SYSTEM "file:///etc/passwd">'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (model(before=BOMB), "document type"),
        (model(before=OUTSIDE), "document type"),
        (model()[:-5], "no sound XML"),
        ("", "no sound XML"),
        (model().replace("0.0", "&lt;", 1), "no number"),
        (model().replace("0.0", "1e39", 1), "finite"),
        (model().replace("0.0", "nan", 1), "finite"),
        (model().replace(' z="3.1"', ""), "without its attribute 'z'"),
        (model().replace('v1="0"', 'v1="4"', 1), "outside its 4"),
        (model().replace('v1="0"', 'v1="-1"', 1), "outside its 4"),
        (model().replace('v1="0"', 'v1="99999999999999999999"', 1), "no number"),
        (model().replace('v1="0"', 'v1="0.5"', 1), "no number"),
        (model(attributes='unit="furlong"'), "unknown unit 'furlong'"),
        (model(attributes='requiredextensions="p"'), "extensions p"),
        (model(build=""), "no triangle"),
        (model(build='<item objectid="2"/>'), "object '2' without"),
        (model(build="<item/>"), "without its attribute 'objectid'"),
        (model(build='<item objectid="1" transform="1 2 3"/>'), "12 finite"),
        (model(build='<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 x"/>'), "no number"),
        (model(build='<item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 0 inf"/>'), "12 finite"),
        (model(attributes='unit="foot"', build=FAR), "finite"),
        (model(build='<item xmlns:p="urn:p" p:path="/3D/o.model" objectid="1"/>'), "further parts"),
        (model(OBJECT + OBJECT), "twice"),
        (model('<object id="1"><components><component objectid="1"/></components></object>'), "holds itself"),
        (model('<object id="1"><components><component objectid="2"/></components></object>' + OBJECT), "'2' without"),
        (model().replace(threemf_model.CORE, "urn:other"), "not with a model"),
        (f'<object xmlns="{threemf_model.CORE}" id="1"/>', "holds no model"),
        (model(f'<model unit="inch"/>{OBJECT}'), "within a model"),
    ],
)  # fmt: skip
def test_a_bad_model_says_why(text: str, says: str) -> None:
    with pytest.raises(FileFault, match=says):
        threemf.decode(package(text))


def test_text_in_utf_16_is_read_too() -> None:
    """Packages in general may use it; 3MF's own rule (UTF-8 only) binds who writes."""
    np.testing.assert_array_equal(threemf.decode(package(model().encode("utf-16")))[0], SINGLE)


def test_components_that_multiply_are_refused_before_they_do() -> None:
    doubled = "".join(
        f'<object id="{n}"><components>' + 2 * f'<component objectid="{n - 1}"/>' + "</components></object>"
        for n in range(2, 42)
    )
    with pytest.raises(FileFault, match="more than 20000000"):
        threemf.decode(package(model(OBJECT + doubled, '<item objectid="41"/>')))


def test_components_nested_too_deep_are_refused() -> None:
    chain = "".join(
        f'<object id="{n}"><components><component objectid="{n - 1}"/></components></object>' for n in range(2, 2000)
    )
    with pytest.raises(FileFault, match="deep"):
        threemf.decode(package(model(OBJECT + chain, '<item objectid="1999"/>')))


def test_a_zip_bomb_is_refused_unopened(monkeypatch: pytest.MonkeyPatch) -> None:
    data = threemf._pack({"_rels/.rels": threemf._relationships(), "3D/3dmodel.model": " " * 20_000_000})
    monkeypatch.setattr(threemf, "LIMIT_BYTES", 10_000_000)
    tracemalloc.start()
    with pytest.raises(FileFault, match="unpacks to more than 10000000"):
        threemf.decode(data)
    assert tracemalloc.get_traced_memory()[1] < 2_000_000
    tracemalloc.stop()


def test_a_zip_that_lies_about_its_size_is_a_fault() -> None:
    data = bytearray(package(model()))
    central = data.rfind(b"PK\x01\x02")  # central directory entry of the model part: sizes at 20 and 24
    data[central + 20 : central + 28] = (100).to_bytes(4, "little") * 2
    with pytest.raises(FileFault, match="CRC"):
        threemf.decode(bytes(data))


@pytest.mark.parametrize(
    ("parts", "says"),
    [
        ({}, "no part '_rels/.rels'"),
        ({"_rels/.rels": threemf._relationships()}, "no part '3D/3dmodel.model'"),
        ({"_rels/.rels": "<x/>"}, "names no model"),
        ({"_rels/.rels": "no xml"}, "relationships part is no sound XML"),
    ],
)
def test_a_package_without_a_model_says_what_is_missing(parts: dict[str, str], says: str) -> None:
    with pytest.raises(FileFault, match=says):
        threemf.decode(threemf._pack(parts))


def test_part_names_count_without_case_and_may_be_relative() -> None:
    relations = threemf._relationships().replace("/3D/3dmodel.model", "3d/My%20Model.MODEL")
    data = threemf._pack({"_rels/.rels": relations, "3D/my model.model": model()})
    assert len(threemf.decode(data)[1]) == 4


@pytest.mark.parametrize("data", [b"", b"PK", b"PK\x03\x04" + bytes(40), b"solid x", bytes(22)])
def test_what_is_no_package_is_a_fault(data: bytes) -> None:
    with pytest.raises(FileFault, match="no sound 3MF package"):
        threemf.decode(data)


def test_packing_that_is_not_deflate_is_a_fault() -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("_rels/.rels", threemf._relationships())
    with pytest.raises(FileFault, match="unusual"):
        threemf.decode(buffer.getvalue())


def test_any_truncation_is_a_file_fault() -> None:
    data = threemf.encode(TETRA_V, TETRA_F, "x", {})
    for end in range(len(data)):
        with pytest.raises(FileFault):
            threemf.decode(data[:end])


def test_any_flipped_byte_reads_or_is_a_file_fault() -> None:
    packed, text = threemf.encode(TETRA_V, TETRA_F, "x", {}), model().encode()
    flipped = [_flip(packed, k, mask) for k in range(len(packed)) for mask in (1, 0x55, 255)]
    flipped += [package(_flip(text, k, mask)) for k in range(len(text)) for mask in (1, 2, 16, 255)]
    faults = sum(_faulty(data) for data in flipped)
    assert 0.3 * len(flipped) < faults < len(flipped)  # numbers and names may change unnoticed


def _flip(data: bytes, place: int, mask: int) -> bytes:
    return data[:place] + bytes([data[place] ^ mask]) + data[place + 1 :]


def _faulty(data: bytes) -> bool:
    try:
        vertices, faces = threemf.decode(data)
    except FileFault:
        return True
    assert np.isfinite(vertices).all()
    assert faces.min() >= 0
    assert faces.max() < len(vertices)
    assert len(faces) > 0
    return False
