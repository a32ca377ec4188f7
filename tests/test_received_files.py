"""What is handed over as an upload: which fleets are taken, which files are refused, and in what words."""

from __future__ import annotations

import io
import struct
import zipfile
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forecaster import read_fleet, received_folder, sample_fleet_folder, template_folder, template_workbook
from forecaster.errors import SourceError, WrongUsage
from forecaster.received_files import UNNAMED, ReceivedFleet, fleet_name, receive
from forecaster.zip_folders import MAX_MEMBERS, MAX_UNPACKED_BYTES, ReceivedFile, unpack_zip

TODAY = date(2026, 11, 1)
CRAFT = b"craft_id,name\nC1,Heron\n"
FITTINGS = b"unit_id,craft_id,fitted_on\nS1,C1,2026-05-01\n"
HOURS = b"craft_id,read_on,meter\nC1,2026-06-01,12\n"
TWO = {"craft.csv": CRAFT, "fittings.csv": FITTINGS}


def zipped(files: dict[str, bytes], name: str = "north.zip") -> ReceivedFile:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as into:
        for file, content in files.items():
            into.writestr(file, content)
    return ReceivedFile(name, packed.getvalue())


def loose(files: dict[str, bytes]) -> list[ReceivedFile]:
    return [ReceivedFile(name, content) for name, content in files.items()]


def refusal(*files: ReceivedFile) -> str:
    with pytest.raises(SourceError) as refused:
        receive(files)
    return str(refused.value)


def names(fleet: ReceivedFleet) -> list[str]:
    return [file.name for file in fleet.files]


# --- what is taken -------------------------------------------------------------------------------------------------


def test_loose_files_of_a_folder_read_as_the_folder_does(tmp_path: Path) -> None:
    folder = sample_fleet_folder()
    files = [ReceivedFile(f.name, f.read_bytes()) for f in folder.iterdir() if f.suffix in (".csv", ".toml")]
    read = read_fleet(receive(files).lay_out(tmp_path), TODAY)
    own = read_fleet(folder, TODAY)
    assert read.read == own.read
    assert read.records.settings == own.records.settings
    assert read.problems == own.problems


def test_a_zip_of_a_folder_takes_the_folders_name() -> None:
    fleet = receive([zipped({f"lagoon fleet/{name}": content for name, content in TWO.items()})])
    assert (fleet.name, names(fleet)) == ("lagoon fleet", ["craft.csv", "fittings.csv"])


def test_a_zip_without_a_folder_takes_its_own_name() -> None:
    assert receive([zipped(TWO, "lagoon.zip")]).name == "lagoon"


def test_folders_within_folders_are_looked_into() -> None:
    assert names(receive([zipped({f"a/b/c/{name}": content for name, content in TWO.items()})])) == list(TWO)


def test_folders_may_be_parted_as_windows_does() -> None:
    assert names(receive([zipped({f"a\\{name}": content for name, content in TWO.items()})])) == list(TWO)


def test_what_desktops_leave_in_a_zip_is_passed_over_in_silence() -> None:
    junk = {"__MACOSX/f/._craft.csv": b"x", "f/.DS_Store": b"x", "f/Thumbs.db": b"x", "f/._fittings.csv": b"x"}
    fleet = receive([zipped({**junk, **{f"f/{name}": content for name, content in TWO.items()}})])
    assert (names(fleet), fleet.notices) == (list(TWO), ())


def test_other_files_of_a_zip_are_passed_over_and_told() -> None:
    fleet = receive([zipped({**TWO, "README.md": b"hello", "notes.csv": b"a,b\n1,2\n"})])
    assert names(fleet) == list(TWO)
    assert "README.md was passed over" in fleet.notices[0]
    assert "notes.csv was passed over" in fleet.notices[1]


def test_a_workbook_is_taken_alone_and_out_of_a_zip(tmp_path: Path) -> None:
    alone = receive([ReceivedFile("north.xlsx", template_workbook())])
    packed = receive([zipped({"north.xlsx": template_workbook()})])
    assert alone == packed
    assert alone.is_workbook
    assert read_fleet(alone.lay_out(tmp_path), TODAY).records.name == "north"


def test_a_single_file_is_taken_and_the_reading_says_what_is_missing(tmp_path: Path) -> None:
    reading = read_fleet(receive(loose({"hours.csv": HOURS})).lay_out(tmp_path), TODAY)
    assert {problem.file for problem in reading.stops_answer} == {"craft.csv", "fittings.csv"}


@pytest.mark.parametrize(("file", "content"), [("hours.csv", HOURS), ("craft.csv", CRAFT), ("fittings.csv", FITTINGS)])
def test_a_file_of_another_name_is_known_by_its_columns_and_told(file: str, content: bytes) -> None:
    fleet = receive(loose({"download (1).csv": content}))
    assert names(fleet) == [file]
    assert fleet.notices == (f"download (1).csv was read as {file}, whose columns it has.",)


def test_a_file_replaces_that_of_an_earlier_fleet_and_the_others_stay() -> None:
    earlier = receive([zipped({**TWO, "hours.csv": HOURS})])
    mended = receive(loose({"hours.csv": HOURS + b"C1,2026-06-08,20\n"})).in_place_of(earlier)
    assert mended.name == earlier.name
    assert {f.name: f.content.count(b"\n") for f in mended.files} == {"craft.csv": 2, "fittings.csv": 2, "hours.csv": 3}


def test_a_folder_of_this_machine_can_be_the_earlier_fleet(tmp_path: Path) -> None:
    folder = tmp_path / "north"
    receive([zipped(TWO)]).lay_out(tmp_path)
    assert names(received_folder(folder)) == list(TWO)
    assert received_folder(folder).name == "north"


def test_a_folders_place_may_be_given_in_words(tmp_path: Path) -> None:
    for file, content in TWO.items():
        (tmp_path / file).write_bytes(content)
    (tmp_path / "out").mkdir()
    placed = received_folder(str(tmp_path)).lay_out(str(tmp_path / "out"))
    assert sorted(file.name for file in placed.iterdir()) == list(TWO)


def test_a_workbook_is_only_replaced_whole() -> None:
    book = receive([ReceivedFile("north.xlsx", template_workbook())])
    with pytest.raises(WrongUsage, match="replaced whole"):
        receive(loose({"hours.csv": HOURS})).in_place_of(book)


def test_the_same_files_in_another_order_are_the_same_content() -> None:
    first, second = receive(loose(TWO)), receive(loose(dict(reversed(TWO.items()))))
    assert first.content == second.content
    assert first.content != receive(loose({**TWO, "craft.csv": CRAFT + b"C2,Tern\n"})).content


# --- what is refused -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["../craft.csv", "f/../../craft.csv", "/etc/craft.csv", "C:/craft.csv", "C:\\craft.csv", "..\\craft.csv"]
)
def test_a_zip_that_points_out_of_its_folder_is_refused_whole(name: str) -> None:
    assert "points out of its own folder" in refusal(zipped({**TWO, name: CRAFT}))


def test_a_link_in_a_zip_is_refused() -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as into:
        link = zipfile.ZipInfo("craft.csv")
        link.create_system, link.external_attr = 3, 0o120777 << 16
        into.writestr(link, "/etc/passwd")
    assert "is a link and no file" in refusal(ReceivedFile("north.zip", packed.getvalue()))


def test_a_zip_of_too_many_files_is_refused() -> None:
    assert "at most 2,000" in refusal(zipped({f"{n}.csv": b"" for n in range(MAX_MEMBERS + 1)}))


def test_a_zip_that_unpacks_to_too_much_is_refused_unread() -> None:
    bomb = bytearray(zipped(TWO).content)
    entry = bomb.index(b"PK\x01\x02")  # the directory's first entry; its unpacked size stands 24 bytes on
    bomb[entry + 24 : entry + 28] = struct.pack("<I", MAX_UNPACKED_BYTES)
    assert "at most 300 MB are read" in refusal(ReceivedFile("north.zip", bytes(bomb)))


def test_a_member_that_unpacks_to_more_than_it_says_is_refused() -> None:
    packed = bytearray(zipped({"craft.csv": b"craft_id\n" + b"C1\n" * 100_000}).content)
    entry = packed.index(b"PK\x01\x02")
    packed[entry + 24 : entry + 28] = struct.pack("<I", 20)
    assert "is damaged" in refusal(ReceivedFile("north.zip", bytes(packed)))


def test_a_locked_zip_is_told_to_be_locked() -> None:
    packed = bytearray(zipped(TWO).content)
    for mark, at in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        place = packed.index(mark) + at
        packed[place] |= 1  # encrypted: general purpose bit 0 (ZIP application note 4.4.4, from memory)
    assert "locked with a password" in refusal(ReceivedFile("north.zip", bytes(packed)))


@pytest.mark.parametrize("end", [10, 60, -30])
def test_a_broken_zip_is_told_to_be_damaged(end: int) -> None:
    assert "damaged" in refusal(ReceivedFile("north.zip", zipped(TWO).content[:end]))


def test_a_zip_with_a_broken_file_names_it() -> None:
    packed = bytearray(zipped({"craft.csv": CRAFT * 50}).content)
    packed[45] ^= 0xFF
    assert "damaged at craft.csv" in refusal(ReceivedFile("north.zip", bytes(packed)))


def test_an_old_workbook_is_told_how_to_be_saved() -> None:
    said = refusal(ReceivedFile("north.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500)))
    assert "old-style (.xls)" in said
    assert "save it as .xlsx" in said


@pytest.mark.parametrize("name", ["fleet.pdf", "photo.jpg", "notes.txt", "noending", "fleet.ods"])
def test_a_file_of_another_kind_is_told_what_is_taken(name: str) -> None:
    said = refusal(ReceivedFile(name, b"whatever"))
    assert said.startswith(f"{name} is of a kind that is not read")
    assert "one workbook (.xlsx)" in said


@pytest.mark.parametrize("name", ["fleet.zip", "fleet.xlsx", "craft.csv"])
def test_an_empty_file_is_told_to_be_empty(name: str) -> None:
    assert "is empty" in refusal(ReceivedFile(name, b""))


@pytest.mark.parametrize("name", ["fleet.zip", "fleet.xlsx"])
def test_a_file_that_is_not_what_its_name_says_is_refused(name: str) -> None:
    assert "or it is damaged" in refusal(ReceivedFile(name, b"hello"))


def test_a_workbook_of_something_else_names_its_sheets(tmp_path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    book.active.title = "Invoices"
    book.save(tmp_path / "other.xlsx")
    said = refusal(ReceivedFile("other.xlsx", (tmp_path / "other.xlsx").read_bytes()))
    assert "no sheet of a fleet" in said
    assert "invoices" in said


def test_nothing_of_a_fleet_is_told_with_what_was_looked_for() -> None:
    said = refusal(*loose({"crafts.csv": b"a,b\n1,2\n"}))
    assert "crafts.csv may be meant as craft.csv" in said


def test_two_fleets_at_once_are_refused() -> None:
    both = {f"{folder}/{name}": content for folder in ("north", "south") for name, content in TWO.items()}
    assert "more than one folder: north, south" in refusal(zipped(both))


def test_two_files_that_could_each_be_one_are_refused() -> None:
    assert "Two files could each be hours.csv" in refusal(*loose({"hours.csv": HOURS, "hours (1).csv": HOURS}))


def test_a_zip_or_a_workbook_comes_alone() -> None:
    assert "is a ZIP and comes alone" in refusal(zipped(TWO), ReceivedFile("hours.csv", HOURS))
    book = ReceivedFile("north.xlsx", template_workbook())
    assert "is a workbook and comes alone" in refusal(book, ReceivedFile("hours.csv", HOURS))


def test_no_file_at_all_is_told() -> None:
    assert "No file was given" in refusal()


# --- laws ----------------------------------------------------------------------------------------------------------


@given(st.text(max_size=80))
def test_whatever_a_fleet_is_called_its_name_stays_one_plain_folder(text: str) -> None:
    name = fleet_name(text)
    assert name
    assert Path(name).name == name
    assert not set(name) & set('<>:"/\\|?*.')


@given(st.text(min_size=1, max_size=30).filter(lambda name: "\x00" not in name))
def test_no_name_that_is_sent_reaches_out_of_the_folder(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    place = tmp_path_factory.mktemp("upload")
    fleet = receive([ReceivedFile(f"{name}/craft.csv", CRAFT)]) if not name.startswith((".", "~$")) else None
    if fleet is not None:
        source = fleet.lay_out(place)
        assert source.parent == place
        assert [file.name for file in source.iterdir()] == ["craft.csv"]


@given(st.binary(max_size=300))
def test_any_bytes_as_a_zip_are_refused_in_words(content: bytes) -> None:
    with pytest.raises(SourceError):
        receive([ReceivedFile("fleet.zip", b"PK\x03\x04" + content)])


def test_the_template_comes_back_out_of_its_zip() -> None:
    kept, others = unpack_zip(ReceivedFile("t.zip", template_folder()), frozenset({".csv"}))
    assert len(kept) == 6
    assert others == ["my_fleet/fleet.toml"]


def test_loose_files_have_no_name_of_their_own() -> None:
    assert receive(loose(TWO)).name == UNNAMED
