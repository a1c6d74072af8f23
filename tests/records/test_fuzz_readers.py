"""Whatever is thrown at a reader, it answers with a frame or with BadInput, nothing else."""

import csv
import io

import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.problems import SHOWN_FAULTS, BadInput
from analysis.records.export import write_laps
from analysis.records.laps import CATEGORIES, COLUMNS, NEEDED, check_laps, read_laps
from analysis.records.movements import read_movements
from analysis.records.routing import read_routing, write_routing
from analysis.records.shop import Shop, read_shop, shop_toml
from analysis.records.text import guarded_column, kept_column
from tests.examples import examples

VIENNA = Shop(timezone="Europe/Vienna")
TRICKY = [
    "", " ", "0", "-0", "1", "2.5", "1e400", "nan", "inf", "-1", "1,5", "1.234,5", "=1+1", "'",
    "''", "'=x", "'twas", "\t", "a\nb", "a\r\nb", '"', '""', '5" board', "NA", "null", "001",
    "\u00e9", "e\u0301", "\u2028", "\x0b", "\x1c", "\ufeff",
    "delay", "setup", "Operation", "operation", "|",
    "2026-03-02", "2026-03-02T09:15:00", "2026-03-29T02:30", "2026-10-25T02:30:00", "99999-01-01",
    "2026-03-02T09:15:00+01:00", "2026-03-02T09:15:00.5Z", "0001-01-01T00:00:00Z", "x" * 70, "a:5",
    "9999-12-31T23:59:59-12:00", "0001-01-01T00:00:00", "0000-01-01", "9999-12-31T23:59:59",
    "\uff1d1+1", "'\uff20x", "true", "yes", ";", ",", "75", "60.25", "sew", "pocket notebook",
]  # fmt: skip
texts = st.one_of(st.sampled_from(TRICKY), st.text(st.characters(codec="utf-8"), max_size=8))
names = st.one_of(st.sampled_from(COLUMNS[1:]), texts)
many = settings(max_examples=examples(150), deadline=None, suppress_health_check=list(HealthCheck))


def frame_or_faults(read, *arguments):
    try:
        return read(*arguments)
    except BadInput as refused:
        assert refused.count >= len(refused.faults) >= 1
        assert all(fault.problem for fault in refused.faults)
        assert len(str(refused).splitlines()) == min(refused.count, SHOWN_FAULTS + 1)
        return None


@st.composite
def tables(draw, columns):
    """A CSV file that begins like a good one and then has cells, quotes and rows tampered with."""
    header = [*columns, *draw(st.lists(names, max_size=4))]
    width = len(header)
    row = st.lists(texts, min_size=width, max_size=width)
    rows = draw(st.lists(st.one_of(row, st.lists(texts, max_size=width + 2)), max_size=6))
    text = io.StringIO()
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    quoting = draw(st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]))
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    csv.writer(text, delimiter=delimiter, quoting=quoting, lineterminator=end).writerows(
        [header, *rows]
    )
    data = text.getvalue().encode(draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])))
    cut = draw(st.integers(0, len(data)))
    return draw(st.sampled_from([data, data, data[:cut], data[:cut] + b'"' + data[cut:],
                                 data[:cut] + b"\xff" + data[cut:]]))  # fmt: skip


@many
@given(st.one_of(st.binary(max_size=200), tables(NEEDED)))
def test_no_bytes_make_the_laps_reader_fall_over(data):
    found = frame_or_faults(read_laps, data, VIENNA)
    if found:
        assert tuple(found.frame.columns) == COLUMNS
        assert not found.frame.isna().any().any()
        assert found.frame.lap_id.is_unique and (found.frame.lap_id != "").all()


@many
@given(st.one_of(st.binary(max_size=200), tables(("product", "operation", "seconds", "after"))))
def test_no_bytes_make_the_routing_reader_fall_over(data):
    routing = frame_or_faults(read_routing, data)
    if routing is not None:
        written = io.BytesIO()
        write_routing(routing, written)
        again = read_routing(written.getvalue())
        pd.testing.assert_frame_equal(routing.drop(columns="row"), again.drop(columns="row"))


HUGE = ["9" * 400, "9" * 5000, "0x" + "f" * 9000, "1e308", "[" * 3000 + "]" * 3000, "[" * 3000,
        "{a=" * 2000 + "1" + "}" * 2000]  # fmt: skip


@many
@given(st.one_of(st.binary(max_size=200), tables(("moved_at", "kind", "product", "pieces"))))
def test_no_bytes_make_the_reader_of_stock_movements_fall_over(data):
    frame_or_faults(read_movements, data, VIENNA)


toml_values = st.one_of(st.integers(-5, 10**18), st.floats(), st.booleans(),
                        st.sampled_from(HUGE),
                        texts.map(lambda text: '"' + text + '"'), texts)  # fmt: skip
toml_keys = st.sampled_from(
    ["name", "timezone", "currency", "Mon", "Sun", "personal", "convention", "price", "stock",
     "demand_per_week", "batch_size", "per_week", "hours_per_week", "cost_per_hour", "variants",
     "a" + ".a" * 3000, "name" + ".a" * 3000]
)  # fmt: skip
toml_tables = st.sampled_from(
    ["[shop]", "[week]", "[allowance]", "[workers.maker]", '[products."pocket notebook"]',
     '[products."pocket notebook".variants.linen]', "[overhead]", "[[shop]]", "[x"]
)  # fmt: skip
toml_lines = st.one_of(toml_tables, st.tuples(toml_keys, toml_values).map(
    lambda pair: f"{pair[0]} = {str(pair[1]).lower() if isinstance(pair[1], bool) else pair[1]}"
))  # fmt: skip


@many
@given(
    st.one_of(
        st.binary(max_size=200),
        st.lists(toml_lines, max_size=8).map(lambda lines: "\n".join(lines).encode()),
    )
)
def test_no_bytes_make_the_shop_reader_fall_over(data):
    shop = frame_or_faults(read_shop, data)
    if shop is not None:
        assert read_shop(shop_toml(shop).encode()) == shop


json_values = st.one_of(st.none(), st.integers(), st.floats(), st.booleans(), st.text(max_size=6),
                        texts)  # fmt: skip


@many
@given(st.lists(st.dictionaries(names, json_values, max_size=8), max_size=4))
def test_no_message_from_a_phone_makes_the_check_fall_over(laps):
    frame_or_faults(check_laps, laps, "phone", VIENNA)


kept = st.one_of(
    st.sampled_from(TRICKY),
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=8),
)
laps = st.lists(
    st.fixed_dictionaries(
        {
            "started_at": st.datetimes(pd.Timestamp("1900-01-02").to_pydatetime(),
                                       pd.Timestamp("2199-12-30").to_pydatetime())
            .map(lambda moment: moment.isoformat() + "Z"),
            "seconds": st.floats(5e-324, 86400).map(repr),
            "rating": st.floats(50, 150).map(repr),
            "units": st.integers(1, 1_000_000).map(str),
            "product": kept.map(lambda text: text.strip() or "p"),
            "operation": kept.map(lambda text: text.strip() or "o"),
            **{name: kept for name in CATEGORIES
               if name not in ("product", "operation", "activity")},
            "note": kept,
        }
    ),
    min_size=1, max_size=5,
)  # fmt: skip


@settings(many, max_examples=examples(50))
@given(laps, st.sampled_from(["Europe/Vienna", "Asia/Kathmandu", "UTC"]))
def test_any_lap_written_and_read_back_is_the_same_lap_to_the_last_digit(laps, zone):
    frame = check_laps(laps, "made up").frame
    written, again = io.BytesIO(), io.BytesIO()
    write_laps(frame, written, Shop(timezone=zone))
    read_back = read_laps(written.getvalue()).frame
    pd.testing.assert_frame_equal(read_back, frame)
    write_laps(read_back, again, Shop(timezone=zone))
    assert again.getvalue() == written.getvalue()
    for row in csv.reader(io.StringIO(written.getvalue().decode(), newline="")):
        assert not any(cell.startswith(tuple("=+-@\t\r\uff1d\uff0b\uff0d\uff20")) for cell in row)


@many
@given(st.lists(kept, min_size=1, max_size=5))
def test_guarding_and_taking_in_are_each_others_inverse(values):
    import pyarrow as pa

    column = kept_column(pa.chunked_array([pa.array(values, pa.string())]))
    assert kept_column(guarded_column(column)).to_pylist() == column.to_pylist()
