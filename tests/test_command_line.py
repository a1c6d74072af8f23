"""The command line, as its user calls it: arguments in, output and exit status out."""

import json
import re
from pathlib import Path

import pytest

from tests.command import run, run_process

ROOT = Path(__file__).parents[1]
SAMPLES = ROOT / "data_samples"
DEMO = ["--routing", SAMPLES / "routing.csv", "--shop", SAMPLES / "shop.toml"]

CONTRACT = {
    "operations": {
        "product", "operation", "laps", "units", "observed_seconds", "observed_ci95",
        "normal_seconds", "standard_seconds", "laps_needed", "share_of_bench_time",
    },
    "learning": {
        "product", "operation", "worker", "curve", "first_unit_seconds", "learning_rate",
        "learning_rate_ci95", "plateau_seconds", "pieces_made", "next_unit_seconds",
        "next_unit_pi95",
    },
    "quality": {
        "product", "operation", "first_pass_yield", "first_pass_yield_ci95", "scrap_rate",
        "rework_seconds_per_unit",
    },
    "takt": {
        "product", "demand_per_week", "takt_seconds", "work_content_seconds", "workers_needed",
        "bottleneck",
    },
    "cost": {
        "product", "variant", "labour", "material", "rework_and_scrap", "overhead",
        "cost_per_good_piece", "cost_ci95", "price", "earned_per_hour",
    },
    "weeks": {
        "week_start", "good_units", "bench_hours", "good_units_per_bench_hour",
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def demo_answer():
    return strict_json(run("study", SAMPLES / "laps.csv", *DEMO, "--json").stdout)


def strict_json(text):
    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    return json.loads(text, parse_constant=refuse)


def test_study_json_is_one_object_without_nan(demo_answer):
    assert set(demo_answer) >= {"laps", "rolled_throughput_yield", *CONTRACT}


@pytest.mark.parametrize("part", CONTRACT)
def test_every_field_an_outside_program_reads_is_there(demo_answer, part):
    assert demo_answer[part]
    for row in demo_answer[part]:
        assert set(row) >= CONTRACT[part]


def test_every_interval_is_a_low_and_a_high_around_its_figure_and_has_a_width(demo_answer):
    # Everything the demo figures rest on varies, so an interval of no width claims too much.
    pairs = {
        "operations": [("observed_seconds", "observed_ci95")],
        "learning": [
            ("learning_rate", "learning_rate_ci95"),
            ("next_unit_seconds", "next_unit_pi95"),
        ],
        "quality": [("first_pass_yield", "first_pass_yield_ci95")],
        "takt": [("work_content_seconds", "work_content_ci95")],
        "cost": [
            ("cost_per_good_piece", "cost_ci95"),
            ("earned_per_hour", "earned_per_hour_ci95"),
        ],
    }
    for part, columns in pairs.items():
        for row in demo_answer[part]:
            for figure, interval in columns:
                low, high = row[interval]
                assert low <= row[figure] <= high, (part, row)
                assert high - low > 1e-3 * abs(row[figure]), (part, row)


def test_laps_read_are_the_laps_used_and_the_laps_set_aside(demo_answer):
    laps = demo_answer["laps"]
    assert laps["read"] == laps["used"] + len(laps["set_aside"])
    assert laps["set_aside"]
    assert all(set(lap) >= {"row", "lap_id", "reason"} for lap in laps["set_aside"])


def test_study_without_json_prints_titled_tables():
    text = run("study", SAMPLES / "laps.csv", *DEMO).stdout
    assert "Time per piece, by operation (seconds)" in text
    assert "pocket notebook" in text


def test_study_needs_neither_routing_nor_shop():
    answer = strict_json(run("study", SAMPLES / "laps.csv", "--json").stdout)
    assert answer["operations"]
    assert answer["takt"] == []
    assert answer["cost"] == []


def test_bad_laps_end_with_status_2_and_one_line_a_fault():
    done = run("study", SAMPLES / "messy_laps.csv", "--json", status=2)
    assert done.stdout == ""
    form = re.compile(r".*messy_laps\.csv:(\d+): ([a-z_]+): \S.*")
    found = [form.fullmatch(line) for line in done.stderr.strip().splitlines()]
    assert all(found), done.stderr
    # As data_samples/README.md lists them.
    assert [(int(match[1]), match[2]) for match in found] == [
        (3, "seconds"), (4, "seconds"), (5, "started_at"), (6, "activity"), (7, "scrap_units"),
        (8, "rating"), (9, "lap_id"), (10, "seconds"), (11, "seconds"), (12, "product"),
        (13, "units"),
    ]  # fmt: skip


@pytest.mark.parametrize("verb, option", [("export", "--output"), ("backup", "--store")])
def test_two_strokes_are_no_value_of_an_option(own_store, verb, option):
    done = run(verb, f"{option}=--", status=2)
    assert f"argument {option}: expected a value" in done.stderr


def test_faults_of_all_files_are_told_in_one_go(tmp_path):
    (tmp_path / "laps.csv").write_text("started_at,seconds,product,operation\nsoon,12,book,sew\n")
    (tmp_path / "shop.toml").write_text('[shop]\ntimezone = "Nowhere/Land"\n')
    done = run("study", tmp_path / "laps.csv", "--shop", tmp_path / "shop.toml", status=2)
    assert "laps.csv:2: started_at:" in done.stderr
    assert "shop.toml:2: " in done.stderr


def test_a_missing_file_is_said_plainly(tmp_path):
    done = run("study", tmp_path / "none.csv", status=2)
    assert "none.csv" in done.stderr


def test_import_then_export_loses_nothing_and_twice_adds_nothing(tmp_path):
    store = ["--store", f"sqlite:///{tmp_path / 'a.sqlite'}"]
    first = strict_json(run("import", SAMPLES / "laps.csv", *store, "--json").stdout)
    again = strict_json(run("import", SAMPLES / "laps.csv", *store, "--json").stdout)
    assert first["new"] > 5000
    assert again["new"] == 0
    assert again["already_there"] == first["new"]
    run("export", *store, "-o", tmp_path / "out.csv")
    other = ["--store", f"sqlite:///{tmp_path / 'b.sqlite'}"]
    run("import", tmp_path / "out.csv", *other)
    run("export", *other, "-o", tmp_path / "out2.csv")
    assert (tmp_path / "out.csv").read_bytes() == (tmp_path / "out2.csv").read_bytes()


def test_an_export_from_a_store_that_is_not_there_makes_none_and_says_so(tmp_path):
    done = run("export", "--store", tmp_path / "typo.sqlite", "-o", tmp_path / "o.csv", status=2)
    assert "There is no store" in done.stderr and len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.iterdir())


def test_a_refused_import_leaves_the_store_as_it_was(tmp_path):
    store = ["--store", f"sqlite:///{tmp_path / 'a.sqlite'}"]
    run("import", SAMPLES / "messy_laps.csv", *store, status=2)
    run("export", *store, "-o", tmp_path / "out.csv")
    assert len((tmp_path / "out.csv").read_text().strip().splitlines()) == 1


def test_a_backup_is_made_listed_and_brought_back(own_store, tmp_path):
    # Processes, which let go of the file before it is spoiled.
    run_process("import", SAMPLES / "laps.csv")
    (backup,) = json.loads(run_process("backup", "--json").stdout)["backups"]
    file = Path(own_store.removeprefix("sqlite:///"))
    file.write_bytes(b"spilled tea" * 1000)
    assert "is not a store" in run_process("export", "-o", tmp_path / "out.csv", status=2).stderr
    assert "no backup of 1999-01-01" in run("restore", "1999-01-01", status=2).stderr
    answer = json.loads(run("restore", "--json").stdout)
    assert Path(answer["put_aside"]).read_bytes() == b"spilled tea" * 1000
    assert backup["day"] in run("backup").stdout
    assert json.loads(run("export", "-o", tmp_path / "out.csv", "--json").stdout)["laps"] == 6361


def test_a_store_is_copied_to_a_server_and_proved(own_store, postgres_url):
    run("import", SAMPLES / "laps.csv")
    answer = json.loads(run("copy", "--to", postgres_url, "--json").stdout)
    assert {table["table"]: table["rows"] for table in answer["tables"]}["lap"] == 6361
    assert "not empty" in run("copy", "--to", postgres_url, status=2).stderr
    assert "a server's keeper" in run("backup", "--store", postgres_url, status=2).stderr
