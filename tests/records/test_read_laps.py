"""Reading laps: what is accepted, what it is turned into, and what the reader says about it."""

import csv
import io
import os
import threading

import numpy as np
import pandas as pd
import pytest

from analysis.problems import BadInput, Fault, NotFound
from analysis.records.laps import CATEGORIES, COLUMNS, COUNTS, check_laps, read_laps
from analysis.records.shop import Shop

HEADER = "started_at,seconds,product,operation"
LAP = "2026-03-02T09:15:00+01:00,75.5,pocket notebook,sew"
VIENNA = Shop(timezone="Europe/Vienna")


def read(*lines, shop=None, encoding="utf-8", end="\n"):
    return read_laps((end.join(lines) + end).encode(encoding), shop, "laps.csv")


def faults_of(*lines, **options):
    with pytest.raises(BadInput) as caught:
        read(*lines, **options)
    return caught.value


def fault_of(*lines, **options):
    found = faults_of(*lines, **options)
    assert found.count == 1, str(found)
    return found.faults[0]


def with_columns(**values):
    """A header and one good lap with these columns besides, or in place of its own."""
    cells = dict(zip(HEADER.split(","), LAP.split(","), strict=True)) | values
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([cells.keys(), cells.values()])
    return text.getvalue().removesuffix("\n")


def test_the_frame_has_the_columns_and_types_every_room_relies_on():
    for frame in (read(HEADER, LAP).frame, read(HEADER).frame):
        assert tuple(frame.columns) == COLUMNS
        assert isinstance(frame.index, pd.RangeIndex)
        assert str(frame.started_at.dtype) == "datetime64[us, UTC]"
        assert (frame[["row", *COUNTS]].dtypes == "int64").all()
        assert (frame[["seconds", "rating"]].dtypes == "float64").all()
        assert all(frame[name].cat.categories.dtype == "str" for name in CATEGORIES)
        assert (frame[["lap_id", "note"]].dtypes == "str").all()


def test_columns_left_out_or_blank_take_the_documented_defaults():
    for frame in (
        read(HEADER, LAP).frame,
        read(with_columns(worker="", units=" ", activity="", rating="", note="")).frame,
    ):
        lap = frame.iloc[0]
        assert (lap.worker, lap.activity, lap.variant, lap.cause, lap.note) == (
            "maker", "operation", "", "", "")  # fmt: skip
        assert (lap.units, lap.rework_units, lap.scrap_units, lap.rating) == (1, 0, 0, 100)
        assert lap.started_at == pd.Timestamp("2026-03-02T08:15:00Z")


def test_column_order_is_free():
    frame = read("operation,seconds,product,started_at", "sew,5,journal,2026-03-02T09:15Z").frame
    assert frame[["operation", "product"]].iloc[0].tolist() == ["sew", "journal"]


def test_texts_that_look_like_nothing_or_like_numbers_stay_as_they_were():
    names = ["NA", "None", "null", "nan", "001", "1e5", "TRUE", "-", "NaN"]
    lines = [f"2026-03-02T09:{n:02d}:00Z,5,{name},sew,{name}" for n, name in enumerate(names)]
    frame = read(HEADER + ",batch", *lines).frame
    assert frame["product"].tolist() == names
    assert frame.batch.tolist() == names


def test_text_is_trimmed_and_composed_so_that_one_product_is_not_two():
    apart, composed = " co\u0302te\u0301 ", "c\u00f4t\u00e9"
    frame = read(HEADER, LAP.replace("sew", apart), LAP.replace("sew", composed)).frame
    assert frame.operation.tolist() == ["c\u00f4t\u00e9"] * 2


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_semicolon_or_tab_file_with_decimal_commas_is_read(delimiter):
    line = LAP.replace(",", delimiter).replace("75.5", "75,5")
    assert read(HEADER.replace(",", delimiter), line).frame.seconds[0] == 75.5


def test_a_semicolon_file_with_decimal_points_is_read():
    assert read(HEADER.replace(",", ";"), LAP.replace(",", ";")).frame.seconds[0] == 75.5


def test_a_point_among_decimal_commas_is_a_fault_since_it_may_mean_thousands():
    lines = [HEADER, LAP.replace("75.5", '"1.234"'), LAP.replace("75.5", '"75,5"')]
    fault = fault_of(*(line.replace(",", ";").replace('"75;5"', '"75,5"') for line in lines))
    assert (fault.row, fault.column, fault.value) == (2, "seconds", "1.234")
    assert "decimal comma" in fault.remedy


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_ending_is_read(end):
    assert len(read(HEADER, LAP, LAP.replace("sew", "trim"), end=end).frame) == 2


def test_a_byte_order_mark_is_no_part_of_the_first_column():
    assert len(read(HEADER, LAP, encoding="utf-8-sig").frame) == 1


def test_a_spreadsheets_cp1252_file_is_read_and_said_so():
    found = read(HEADER, LAP.replace("sew", "K\u00f6pfe pr\u00e4gen \u20ac"), encoding="cp1252")
    assert found.frame.operation[0] == "K\u00f6pfe pr\u00e4gen \u20ac"
    assert any("cp1252" in notice for notice in found.notices)


def test_unknown_columns_are_kept_in_the_note_and_named():
    found = read(HEADER + ",note,weather,rework_unit", LAP + ",thin glue,wet,2", LAP + "x,,,")
    assert found.frame.note.tolist() == ["thin glue; rework_unit: 2; weather: wet", ""]
    [notice] = [notice for notice in found.notices if "weather" in notice]
    assert "did you mean rework_units?" in notice


def test_blank_lines_and_rows_of_commas_are_passed_over_and_still_counted():
    found = read(HEADER, "", LAP, ",,,", "", LAP.replace("sew", "trim"), "", "")
    assert found.frame.row.tolist() == [3, 6]
    assert fault_of(HEADER, "", LAP, ",,,", LAP.replace("75.5", "0")).row == 5


def test_a_quoted_newline_keeps_the_rows_below_in_their_place():
    found = read(with_columns(note="one\ntwo\r\nthree"), LAP + ",")
    assert found.frame.note[0] == "one\ntwo\r\nthree"
    assert fault_of(with_columns(note="one\ntwo"), LAP.replace("75.5", "x") + ",").row == 3


def test_a_row_longer_than_the_readers_block_is_read_whole():
    note = "long, " * 500_000
    assert read(with_columns(note=note)).frame.note[0] == note.strip()


def test_a_thousand_columns_are_read():
    extra = [f"x{n}" for n in range(1_000)]
    found = read(HEADER + "," + ",".join(extra), LAP + ",1" * 1_000)
    assert found.frame.note[0].startswith("x0: 1; x1: 1; x10: 1; ")
    [named] = [notice for notice in found.notices if "kept in the note" in notice]
    assert all(f" {name}," in named for name in extra[:-1]) and named.endswith(f" {extra[-1]}.")


def test_times_without_an_offset_are_in_the_shops_zone_and_mixed_ones_each_in_its_own():
    found = read(
        HEADER,
        "2026-03-02T09:00:00,5,journal,sew",
        "2026-03-02T09:01:00Z,5,journal,sew",
        "2026-07-02 09:02,5,journal,sew",
        "2026-03-02T09:03:00.123456-0500,5,journal,sew",
        shop=VIENNA,
    )
    assert found.frame.started_at.tolist() == [
        pd.Timestamp("2026-03-02T08:00:00Z"),
        pd.Timestamp("2026-03-02T09:01:00Z"),
        pd.Timestamp("2026-07-02T07:02:00Z"),
        pd.Timestamp("2026-03-02T14:03:00.123456Z"),
    ]
    assert any("2 times without an offset" in notice for notice in found.notices)


def test_the_hour_that_comes_twice_and_the_hour_that_never_comes_are_placed_and_said():
    found = read(
        HEADER,
        "2026-10-25T02:30:00,5,journal,sew",  # twice: taken as the first, still summer time
        "2026-03-29T02:30:00,5,journal,sew",  # never: half an hour past the change
        "2026-03-29T03:00:00,5,journal,trim",
        "2026-10-25T03:00:00,5,journal,trim",
        shop=VIENNA,
    )
    assert found.frame.started_at.tolist() == [
        pd.Timestamp("2026-10-25T00:30:00Z"),
        pd.Timestamp("2026-03-29T01:30:00Z"),
        pd.Timestamp("2026-03-29T01:00:00Z"),
        pd.Timestamp("2026-10-25T02:00:00Z"),
    ]
    said = " ".join(found.notices)
    assert "1 time in the hour that came twice" in said and "1 time in the hour skipped" in said


@pytest.mark.parametrize(
    "text, utc",
    [
        ("20260302T091500Z", "2026-03-02T09:15:00Z"),
        ("2026-03-02T09:15:00,5Z", "2026-03-02T09:15:00.5Z"),
        ("2026-03-02T09:15:00.123456789Z", "2026-03-02T09:15:00.123456Z"),
        (" 2026-03-02T09:15+05:30 ", "2026-03-02T03:45:00Z"),
        ("2026-03-02", "2026-03-02T00:00:00Z"),
    ],
)
def test_other_spellings_of_iso_8601_are_read(text, utc):
    assert read(with_columns(started_at=text)).frame.started_at[0] == pd.Timestamp(utc)


@pytest.mark.parametrize(
    "text",
    ["", "yesterday", "now", "2026-02-30T09:00Z", "18/31/2026 9am", "2026", "2026-03",
     "2026-03-02T25:00Z", "1772442900", "0001-01-01T00:00Z", "2026-03-02T09:00+99:00",
     "0000-01-01", "0001-01-01T00:00:00", "1899-12-30T23:59:59", "2200-01-02",
     "9999-12-31T23:59:59", "9999-12-31"],
)  # fmt: skip
def test_a_time_that_is_none_is_named(text):
    lap = with_columns(started_at=text)
    for shop in (None, VIENNA, Shop(timezone="Pacific/Auckland")):
        fault = fault_of(lap, shop=shop)
        assert (fault.row, fault.column, fault.value) == (2, "started_at", text)
    header, row = lap.splitlines()
    typed = dict(zip(header.split(","), row.split(","), strict=True))
    with pytest.raises(BadInput, match="started_at"):
        check_laps([typed], "form", VIENNA)


def test_a_time_or_a_duration_left_blank_is_said_to_be_blank():
    for column in ("started_at", "seconds"):
        assert fault_of(with_columns(**{column: " "})).problem == "is blank"


def test_a_decimal_comma_is_said_with_an_example_since_it_may_have_parted_thousands():
    for delimiter in (";", "\t"):
        line = LAP.replace(",", delimiter).replace("75.5", "1,234")
        found = read(HEADER.replace(",", delimiter), line)
        assert found.frame.seconds[0] == 1.234
        assert any("1,234 is 1.234 (1 such entry)" in notice for notice in found.notices)
    assert not any("decimal comma" in notice for notice in read(HEADER, LAP).notices)


@pytest.mark.parametrize("column", COUNTS)
def test_a_comma_in_a_count_of_pieces_is_a_fault_since_it_parts_thousands(column):
    header, line = f"{HEADER},{column}".replace(",", ";"), LAP.replace(",", ";")
    fault = fault_of(header, line.replace("75.5", "75,5") + ";1,000")
    assert (fault.column, fault.value) == (column, "1,000") and "without a comma" in fault.remedy


def test_a_column_without_a_name_and_one_with_nothing_in_it_are_said():
    found = read(HEADER + ",,weather,", LAP + ",thick thread,,")
    assert found.frame.note[0] == "unnamed column 5: thick thread"
    assert "Not columns of laps, kept in the note: unnamed column 5." in found.notices
    assert "Not columns of laps, and blank: unnamed column 7, weather." in found.notices


def test_one_lap_is_said_to_be_one():
    assert any("1 lap without a lap_id" in notice for notice in read(HEADER, LAP).notices)
    assert any("2 laps without a lap_id" in notice for notice in read(HEADER, LAP, LAP).notices)


def test_a_fault_stays_on_one_line_whatever_is_in_its_names():
    header = HEADER + ',"act\nivity",activity'
    fault = fault_of(header, LAP + ',,"a\nb\u2028c"')
    assert len(str(fault).splitlines()) == 1 and str(fault).startswith("laps.csv:2: activity: ")
    odd = Fault("a\nb.csv", 1, "c\rd", "e\x85f", "g\nh", "i\u2029j\x1b[0m")
    assert str(BadInput([odd])) == (
        "a\\nb.csv:1: c\\rd: e\\x85f; found 'g\\nh'; i\\u2029j\\x1b[0m")  # fmt: skip
    assert str(NotFound("no\nthing")) == "no\\nthing"


@pytest.mark.parametrize(
    "column, value",
    [(column, value) for column in ("seconds", *COUNTS, "rating")
     for value in ("inf", "-inf", "1e400", "nan", "1,234", "1 234", "1'234", "0x10", "1_000",
                   "twelve", "1.2.3", "-5", "5-", "\u0665x")]
    + [("seconds", value) for value in ("0", "-0", "-0.0", "86400.5", "", "1e-400", "None")]
    + [("units", value) for value in ("0", "2.5", "-0", "1e300", "NA")]
    + [("rework_units", "0.5"), ("rework_units", "2"), ("scrap_units", "2")]
    + [("rating", value) for value in ("49.9", "150.1", "0")],
)  # fmt: skip
def test_a_number_that_breaks_a_rule_is_named_with_row_column_value_and_remedy(column, value):
    found = faults_of(with_columns(**{column: value}))
    named = [fault for fault in found.faults if fault.column in (column, "scrap_units")]
    assert named and named[0].row == 2 and named[0].remedy
    assert value in {fault.value for fault in named} or column == "rework_units"


@pytest.mark.parametrize(
    "column, value, meant",
    [("seconds", "86400", 86400), ("seconds", " +5 ", 5), ("seconds", "1e2", 100),
     ("seconds", ".5", 0.5), ("units", "3.0", 3), ("rework_units", "-0", 0), ("rating", "50", 50),
     ("rating", "150", 150), ("rating", "99.5", 99.5)],
)  # fmt: skip
def test_numbers_at_the_edge_of_the_rules_are_taken(column, value, meant):
    assert read(with_columns(**{column: value})).frame[column][0] == meant


def test_rework_and_scrap_together_are_at_most_the_units():
    assert len(read(with_columns(units="5", rework_units="2", scrap_units="3")).frame) == 1
    fault = fault_of(with_columns(units="5", rework_units="3", scrap_units="3"))
    assert fault.column == "scrap_units" and "more than units" in fault.problem


def test_an_unknown_activity_is_named_with_what_it_may_have_meant():
    fault = fault_of(with_columns(activity="Inspektion"))
    assert fault.value == "Inspektion" and "did you mean inspection?" in fault.remedy


def test_only_a_delay_goes_without_product_and_operation():
    assert len(read(with_columns(product="", operation="", activity="delay")).frame) == 1
    assert {f.column for f in faults_of(with_columns(product="", operation=" ")).faults} == {
        "product", "operation"}  # fmt: skip


def test_a_missing_column_is_named_with_the_one_it_may_be():
    fault = fault_of(HEADER.replace("started_at", "Started At"), LAP)
    assert (fault.row, fault.column) == (1, "started_at") and "'Started At'" in fault.remedy


def test_a_column_that_stands_twice_is_a_fault():
    assert fault_of(HEADER + ",units,units", LAP + ",1,2").column == "units"


def test_every_fault_is_told_together_and_by_row():
    found = faults_of(
        HEADER + ",units,activity",
        LAP + ",0,operation",
        LAP + ",1,sewing",
        "x,y,,,z,",
        LAP.replace("75.5", "-1"),
    )
    assert [(f.row, f.column) for f in found.faults] == [
        (2, "units"), (3, "activity"), (4, "started_at"), (4, "seconds"), (4, "units"),
        (4, "product"), (4, "operation"), (5, ""),
    ]  # fmt: skip
    assert "does not have 6 fields" in found.faults[-1].problem


def test_of_many_faults_the_first_fifty_and_the_count_are_told():
    lines = [LAP.replace("75.5", "0" if n % 2 else "x") for n in range(1000)]
    found = faults_of(HEADER, *lines)
    assert found.count == 1000
    assert [fault.row for fault in found.faults] == list(range(2, 52))
    assert str(found).splitlines()[-1] == "laps.csv:0: (file): and 950 more faults like these"


@pytest.mark.parametrize("old, new", [("75.5", "seven"), ("75.5", "12:30"), ("75.5", ""),
                                      ("75.5", "0"), ("2026-03-02T", "MONDAY "), ("sew", "")]
)  # fmt: skip
def test_faults_far_down_a_large_file_are_named_by_their_own_rows(old, new):
    lines = [LAP] * 60_000
    rows = [30_000, 30_001, 54_321, 59_999]
    for row in rows:
        lines[row] = LAP.replace(old, new)
    assert [fault.row for fault in faults_of(HEADER, *lines).faults] == [row + 2 for row in rows]


def test_laps_of_a_large_file_with_and_without_an_offset_keep_their_places():
    lines = [f"2026-03-02T09:15:00{'+01:00' if n % 7 else ''},{n + 1},a,b" for n in range(60_000)]
    found = read(HEADER, *lines, shop=VIENNA)
    assert found.frame.seconds.tolist() == list(range(1, 60_001))
    assert (found.frame.started_at == pd.Timestamp("2026-03-02T08:15:00Z")).all()
    assert found.clock_at.isna().tolist() == [bool(n % 7) for n in range(60_000)]


def test_a_pipe_is_read_as_a_file_is(tmp_path):
    pipe = tmp_path / "laps.csv"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_text, args=(f"{HEADER}\n{LAP}\n",))
    writer.start()
    assert len(read_laps(pipe).frame) == 1
    writer.join()


def test_ragged_rows_keep_their_own_row_numbers_in_a_file_of_many_blocks():
    lines = [LAP] * 60_000
    lines[100] += ",more"
    lines[50_000] = "2026-03-02T09:15:00+01:00,75.5"
    assert [fault.row for fault in faults_of(HEADER, *lines).faults] == [102, 50_002]


def test_a_quote_that_never_closes_does_not_swallow_laps_in_silence():
    found = faults_of(HEADER + ",note", LAP + ',"never closed', LAP + ",", LAP + ",")
    assert found.faults[0].row == 2 and "never closes" in found.faults[0].problem


def test_a_quote_inside_a_text_is_a_letter():
    assert read(HEADER + ",note", LAP + ',5" board', LAP + ',"a ""b"""').frame.note.tolist() == [
        '5" board', 'a "b"']  # fmt: skip


@pytest.mark.parametrize(
    "data, said",
    [
        (b"", "no header"),
        (b"\n\n\n", "no header"),
        (b"\xef\xbb\xbf", "no header"),
        (b"\x00" * 10, "no text"),
        (b"\x7fELF\x02\x01\x01\x00\x00", "no text"),
        (b"PK\x03\x04\x14\x00\x06\x00", "no text"),
        ("started_at,seconds".encode("utf-16"), "UTF-16"),
        (b"started_at,seconds,product,operation\n\x81,1,2,3\n", "no text"),
        (b'"' * 1_000_001, "is missing"),
        (b"\x01\x02\x03 no csv at all", "is missing"),
        (b"<html><body>laps</body></html>", "is missing"),
    ],
)
def test_what_is_no_laps_file_at_all_is_said_to_be_none(data, said):
    with pytest.raises(BadInput, match=said):
        read_laps(data)


def test_a_nul_byte_is_named_by_its_row():
    assert fault_of(HEADER, LAP, LAP.replace("sew", "s\0w")).row == 3


def test_a_missing_file_and_a_folder_are_said_to_be_unreadable(tmp_path):
    for place in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(BadInput, match="cannot be read"):
            read_laps(place)


@pytest.mark.slow
def test_a_200_megabyte_file_that_is_no_laps_file_is_refused(tmp_path):
    place = tmp_path / "large.csv"
    with open(place, "wb") as file:
        file.write((HEADER + "\n").encode())
        for _ in range(200):
            file.write(b"no lap at all;" * 75_000)
    with pytest.raises(BadInput, match="does not have 4 fields"):
        read_laps(place)


@pytest.mark.slow
def test_a_200_megabyte_file_of_laps_is_read(tmp_path):
    place = tmp_path / "large.csv"
    lap = "2026-03-02T09:15:00+01:00,75.5,pocket notebook,sew," + "a long note " * 40 + "\n"
    count = 200_000_000 // len(lap)
    with open(place, "w") as file:
        file.write(HEADER + ",note\n")
        file.writelines(lap for _ in range(count))
    found = read_laps(place)
    assert len(found.frame) == count and found.frame.lap_id.is_unique


def test_a_file_larger_than_can_be_held_is_refused_unread(tmp_path):
    place = tmp_path / "huge.csv"
    with open(place, "wb") as file:
        file.truncate(3 << 30)  # a sparse file: it takes no room
    with pytest.raises(BadInput, match="larger than 1 GB"):
        read_laps(place)


def test_an_upload_is_shown_by_the_name_it_came_with():
    with pytest.raises(BadInput, match="^my laps.csv:2: seconds"):
        read_laps(io.BytesIO((HEADER + "\n" + LAP.replace("75.5", "x")).encode()), None,
                  "my laps.csv")  # fmt: skip


# --- ids ---


def test_an_id_on_two_laps_that_differ_is_a_fault_that_names_both_rows():
    fault = fault_of(with_columns(lap_id="a"), LAP.replace("75.5", "60") + ",a")
    assert (fault.row, fault.column) == (3, "lap_id") and "row 2" in fault.value


def test_ids_that_come_twice_are_told_beside_other_faults_and_blank_ones_are_not():
    found = faults_of(HEADER + ",lap_id", LAP + ",a", LAP.replace("75.5", "x") + ",", LAP + ",",
                      LAP.replace("75.5", "60") + ",a")  # fmt: skip
    assert [(f.row, f.column) for f in found.faults] == [(3, "seconds"), (5, "lap_id")]


def test_a_lap_that_stands_twice_is_kept_once_and_said():
    found = read(with_columns(lap_id="a"), LAP + ",b", LAP + ",a")
    assert found.frame.lap_id.tolist() == ["a", "b"]
    assert any("1 repeat of a lap" in notice for notice in found.notices)


def test_an_id_is_at_most_64_characters():
    assert read(with_columns(lap_id="\u00fc" * 64)).frame.lap_id[0] == "\u00fc" * 64
    assert fault_of(with_columns(lap_id="x" * 65)).column == "lap_id"


def test_ids_that_share_their_first_64_bytes_are_told_apart():
    long = "\u00fc" * 40
    assert len(read(with_columns(lap_id=long + "a"), f"{LAP},{long}b").frame) == 2


def test_missing_ids_are_derived_from_the_row_alone_and_alike_rows_all_stay():
    once = read(HEADER, LAP, LAP, LAP.replace("sew", "trim")).frame
    again = read("operation,note,product,seconds,started_at,units",
                 "trim,,pocket notebook,75.50,2026-03-02 08:15Z,1",
                 "sew,,pocket notebook,75.5,2026-03-02T09:15:00+01:00,",
                 "sew,,pocket notebook,7.55e1,2026-03-02T09:15:00+01:00,1").frame  # fmt: skip
    assert once.lap_id.is_unique
    assert set(once.lap_id) == set(again.lap_id)


def test_a_derived_id_is_the_same_on_every_machine_and_in_every_version():
    """Frozen: another id would add every lap of an old file again."""
    assert read(HEADER, LAP).frame.lap_id.tolist() == ["61f35453f8514ebc23206d5585350eb0"]


def test_the_order_of_columns_we_do_not_know_makes_no_other_lap():
    one = read(HEADER + ",colour,mood", LAP + ",red,good").frame
    other = read(HEADER + ",mood,colour", LAP + ",good,red").frame
    assert one.lap_id[0] == other.lap_id[0] and one.note[0] == other.note[0]


def test_what_the_clock_showed_is_kept_of_laps_without_an_offset():
    local = LAP.replace("+01:00", "")
    found = read(HEADER + ",lap_id", LAP + ",a", local + ",b", LAP + ",a", shop=VIENNA)
    assert found.frame.lap_id.tolist() == ["a", "b"]
    assert found.clock_at.isna().tolist() == [True, False]
    assert found.clock_at[1] == pd.Timestamp("2026-03-02T09:15:00").value // 1000


def test_every_column_makes_a_derived_id_its_own():
    base = read(HEADER, LAP).frame.lap_id[0]
    others = {
        "started_at": "2026-03-02T09:15:01+01:00", "seconds": "75.25", "product": "journal",
        "operation": "trim", "worker": "helper", "variant": "linen", "batch": "1", "cause": "x",
        "note": "x", "cause_operation": "trim", "units": "2", "activity": "setup",
        "rework_units": "1", "scrap_units": "1", "rating": "90",
    }  # fmt: skip
    ids = {read(with_columns(**{name: value})).frame.lap_id[0] for name, value in others.items()}
    assert len(ids | {base}) == len(others) + 1


def test_derived_ids_do_not_meet_among_a_hundred_thousand_laps():
    lines = [f"2026-03-02T09:15:00Z,{n / 4 + 1},journal,sew" for n in range(100_000)]
    assert read(HEADER, *lines).frame.lap_id.is_unique


def test_the_shops_zone_does_not_change_a_derived_id():
    line = LAP.replace("+01:00", "")
    assert read(HEADER, line).frame.lap_id[0] == read(HEADER, line, shop=VIENNA).frame.lap_id[0]


# --- laps that come as texts, not as a file ---


def test_laps_from_a_form_obey_the_rules_of_a_file():
    texts = pd.DataFrame(
        [
            {
                "started_at": "2026-03-02T09:15:00+01:00",
                "seconds": 75.5,
                "product": "pocket notebook",
                "operation": "sew",
                "batch": None,
            }
        ]
    )
    from_file, from_form = read(HEADER, LAP).frame, check_laps(texts, "form").frame
    pd.testing.assert_frame_equal(from_file, from_form)
    with pytest.raises(BadInput, match="form:2: seconds: is not more than 0"):
        check_laps(texts.assign(seconds="0"), "form")
    with pytest.raises(BadInput, match="note: holds a character that is no text"):
        check_laps([{**texts.iloc[0], "note": "a\ud800b"}], "form")


def test_an_apostrophe_typed_into_a_form_stays():
    texts = pd.DataFrame([dict(zip(HEADER.split(","), LAP.split(","), strict=True))])
    assert check_laps(texts.assign(note="'=1+1"), "form").frame.note[0] == "'=1+1"


def test_categories_hold_only_what_occurs():
    frame = read(with_columns(lap_id="a"), LAP + ",b", LAP + ",a").frame
    assert all(np.isin(frame[name].cat.categories, frame[name].astype("str")).all()
               for name in CATEGORIES)  # fmt: skip


def test_quoted_newlines_at_the_ends_of_the_readers_blocks_split_no_lap():
    lines = [f'{LAP},"{"thin, " * 30}\n{n}\nglue"' for n in range(30_000)]
    found = read(HEADER + ",note", *lines, LAP.replace("75.5", "5") + ",last")
    assert len(found.frame) == 30_001
    assert found.frame.note.iloc[-2].endswith("\n29999\nglue")
    assert fault_of(HEADER + ",note", *lines, LAP.replace("75.5", "x") + ",last").row == 30_002


def test_a_stray_quote_before_many_quoted_newlines_splits_no_lap():
    lines = [f'{LAP},"{"thin, " * 30}\n{n}\nglue"' for n in range(30_000)]
    lines[5] = LAP + ',5" board'
    lines[20_000] = LAP + ',7" board'
    assert len(read(HEADER + ",note", *lines).frame) == 30_000


def test_a_spreadsheets_days_written_with_dots_are_read_and_said_so():
    file = read_laps(
        "started_at;seconds;product;operation\n"
        "2.3.2026 9:15;61,5;buch;nähen\n"
        "23.11.2026 09:00:30;61,5;buch;nähen\n"
        "23.11.2026, 10:00;61,5;buch;nähen\n"
        "24.11.2026;61,5;buch;nähen\n"
        "2026-11-25T10:00:00+01:00;61,5;buch;nähen\n".encode(),
        Shop(timezone="Europe/Berlin"),
    )
    assert file.frame.started_at.astype("str").tolist() == [
        "2026-03-02 08:15:00+00:00", "2026-11-23 08:00:30+00:00", "2026-11-23 09:00:00+00:00",
        "2026-11-23 23:00:00+00:00", "2026-11-25 09:00:00+00:00",
    ]  # fmt: skip
    assert "4 times written with dots taken as day.month.year." in file.notices
    assert "1 time with a date only taken at 00:00." in file.notices


@pytest.mark.parametrize(
    "day", ["31.2.2026 9:15", "2/3/2026 9:15", "2.3.26", "2026.3.2", "13.13.2026"]
)
def test_a_day_that_may_be_either_or_none_is_refused(day):
    with pytest.raises(BadInput, match="is not a date and time"):
        read_laps(f"started_at,seconds,product,operation\n{day},5,book,sew\n".encode())
