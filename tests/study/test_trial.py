"""Two ways tried on halves: held against statsmodels, against a known truth, and against too little
to tell."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.proportion import confint_proportions_2indep

from analysis.study.trial import TRIAL_COLUMNS, VERDICTS, compare_ways, noted_ways
from tests.study.spoiling import EXPECTED, days, judged


def tried(rng, batches=6, pieces=20, turn=5, quicker=0.1, spoils=(0.1, 0.1), run=0.03, lap=0.15):
    """(laps, ways): B takes `quicker` less log time; by turns of so many pieces."""
    rows, way = [], []
    for batch in range(batches):
        at, of_batch = days(batch), rng.normal(0, 0.2)
        of_runs = rng.normal(0, run, -(-pieces // turn))
        for piece in range(pieces):
            is_b = (piece // turn + batch) % 2
            pace = of_batch + of_runs[piece // turn] - quicker * is_b + rng.normal(0, lap)
            rows.append({"seconds": EXPECTED * np.exp(pace), "batch": str(batch), "started_at": at,
                         "rework_units": int(rng.random() < spoils[is_b])})  # fmt: skip
            way.append("AB"[is_b])
            at += pd.Timedelta(seconds=rows[-1]["seconds"] + 1)
    laps = judged(rows)
    return laps, pd.DataFrame({"lap_id": laps["lap_id"], "way": way})


def row(*tried_so) -> pd.Series:
    table = compare_ways(*tried_so)
    assert len(table) == 1 and table["verdict"].isin(VERDICTS).all()
    return table.iloc[0]


def test_the_time_a_way_saves_is_what_statsmodels_makes_of_the_runs():
    """Weighted least squares of the means of runs on way, with an effect of every batch."""
    laps, ways = tried(np.random.default_rng(1))
    got = row(laps, ways)
    table = laps.assign(way=ways["way"], pace=np.log(laps["seconds"] / EXPECTED))
    table["run"] = (
        (table["way"] != table["way"].shift())
        | (table["batch"].astype(str) != table["batch"].astype(str).shift())
    ).cumsum()
    runs = table.groupby("run").agg(way=("way", "first"), batch=("batch", "first"),
                                    pace=("pace", "mean"), laps=("pace", "size"))  # fmt: skip
    theirs = smf.wls("pace ~ way + C(batch)", runs, weights=runs["laps"]).fit()
    low, high = theirs.conf_int().loc["way[T.B]"]
    percent = 100 * (1 - np.exp([theirs.params["way[T.B]"], high, low]))
    names = ["less_time_percent", "less_time_low", "less_time_high"]
    assert got[names].astype(float).to_numpy() == pytest.approx(percent)


@pytest.mark.parametrize("faults", [(9, 3), (0, 5), (0, 0), (20, 20)])
def test_the_interval_of_fewer_faults_is_newcombe_s(faults):
    rows = [{"seconds": 100.0 + lap, "units": 1, "batch": "b", "rework_units": int(lap < count)}
            for count in faults for lap in range(20)]  # fmt: skip
    laps = judged(rows)
    got = row(laps, pd.DataFrame({"lap_id": laps["lap_id"], "way": ["A"] * 20 + ["B"] * 20}))
    low, high = confint_proportions_2indep(faults[0], 20, faults[1], 20, method="newcomb")
    assert got["fewer_faults"] == pytest.approx((faults[0] - faults[1]) / 20)
    assert (got["fewer_faults_low"], got["fewer_faults_high"]) == pytest.approx((low, high))


def clumped(rng, spoils=0.1, batches=20, pieces=20, turn=5):
    """A trial in which a run of five is now and then spoiled for the most part; both ways alike."""
    laps, ways = tried(rng, batches, pieces, turn)
    bad = rng.random(batches * pieces // turn) < spoils
    chance = np.where(np.repeat(bad, turn), 0.8, 0.02)
    laps["rework_units"] = (rng.random(len(laps)) < chance).astype(int)
    return laps, ways


def test_faults_that_come_in_clumps_leave_more_open_than_as_many_single_ones():
    """Of 5 pieces of a run with chance .8 or .02 (mean .098) the variance is that of single pieces
    times 1 + 4 x .0548 / .0884 = 3.5."""
    got = row(*clumped(np.random.default_rng(1), batches=100))
    assert got["fault_likeness"] == pytest.approx(3.5, rel=0.25)
    alone = confint_proportions_2indep(
        got["faults_a"], got["pieces_a"], got["faults_b"], got["pieces_b"], method="newcomb"
    )
    wider = (got["fewer_faults_high"] - got["fewer_faults_low"]) / (alone[1] - alone[0])
    assert wider == pytest.approx(np.sqrt(got["fault_likeness"]), rel=0.05)
    single = row(*tried(np.random.default_rng(1), batches=100))
    assert single["fault_likeness"] == pytest.approx(1, abs=0.15)


def test_two_who_work_at_once_each_in_one_way_have_two_runs_and_not_as_many_as_laps():
    laps, ways = tried(np.random.default_rng(1), batches=1, turn=1)
    laps["worker"] = pd.Categorical(np.where(ways["way"] == "A", "maker", "helper"))
    assert row(laps, ways)["runs"] == 2


@pytest.mark.slow
def test_two_ways_that_spoil_alike_are_not_told_apart_though_faults_come_in_clumps():
    """200 trials, seeds fixed beforehand; asked: 95 % less two and a half standard errors of 1.5
    points."""
    inside = 0
    for seed in range(500, 700):
        got = row(*clumped(np.random.default_rng(seed)))
        inside += got["fewer_faults_low"] <= 0 <= got["fewer_faults_high"]
    print(f"\ncovered: {inside} of 200")
    assert inside >= 182


@pytest.mark.parametrize("quicker, better", [(0.3, "B better"), (-0.3, "A better")])
def test_the_quicker_way_is_named(quicker, better):
    got = row(*tried(np.random.default_rng(2), quicker=quicker))
    assert got["verdict"] == better
    assert f"Way {better[0]} takes" in got["note"]


def test_a_way_that_is_quicker_and_spoils_more_is_not_called_better():
    got = row(*tried(np.random.default_rng(3), batches=10, quicker=0.3, spoils=(0.03, 0.3)))
    assert got["verdict"] == "faster but spoils more"
    assert "fewer are spoiled in A" in got["note"]


def test_percent_less_the_other_way_round_is_of_the_other_s_time():
    """B takes twice the time of A, so A takes half of B's: 50 %, not 100 %."""
    laps, ways = tried(np.random.default_rng(4), quicker=-np.log(2), lap=0.001, run=0.001)
    got = row(laps, ways)
    assert got["less_time_percent"] == pytest.approx(-100, abs=1)
    assert "Way A takes 50 to 50 % less time" in got["note"]


def test_an_even_match_says_how_many_more_would_tell():
    got = row(*tried(np.random.default_rng(5), batches=1, quicker=0.0))
    assert got["verdict"] == "cannot tell"
    assert got["laps_needed"] > 50 and "laps each way" in got["note"]


def test_a_single_change_over_is_said_to_prove_little():
    got = row(*tried(np.random.default_rng(6), batches=1, turn=10))
    assert "too seldom" in got["note"]


def test_ten_batches_each_way_in_turn_are_not_said_to_change_over_too_seldom():
    """No batch was shared; the batches are what is compared, and they took turns all along."""
    got = row(*tried(np.random.default_rng(1), batches=20, turn=20))
    assert (got["batches"], got["runs"]) == (20, 20)
    assert "too seldom" not in got["note"]
    assert "too seldom" in row(*tried(np.random.default_rng(1), batches=2, turn=20))["note"]


def test_ways_that_took_turns_but_have_no_good_times_of_one_are_not_said_to_change_too_seldom():
    laps, ways = tried(np.random.default_rng(1))
    laps.loc[(ways["way"] == "B").to_numpy(), "suspicious"] = True
    note = row(laps, ways)["note"]
    assert "Too few laps to compare their time" in note and "too seldom" not in note


def test_as_many_laps_as_are_said_to_be_needed_leave_5_percent_told():
    """Runs that stray by .2 and laps by .15: of runs of 20 laps a lap each is worth little. The
    half width h of n laps each way, were there as many as are asked for, is h sqrt(n / needed), and
    a difference told four times in five is (1.96 + .84) / 1.96 of it."""
    got = row(*tried(np.random.default_rng(1), batches=40, turn=20, run=0.2, lap=0.15))
    half = np.log((100 - got["less_time_low"]) / (100 - got["less_time_high"])) / 2
    then = half * np.sqrt(got["laps_a"] / got["laps_needed"])
    assert then * 2.80 / 1.96 == pytest.approx(np.log(1.05), rel=0.1)


def test_practice_and_a_batch_of_better_stuff_favour_neither_way():
    """Each lap is judged against its own curve: halves of a steep curve, B always second, and the
    expected times fall with it."""
    rng = np.random.default_rng(7)
    laps, ways = tried(rng, quicker=0.0, turn=10, batches=8, lap=0.05, run=0.01)
    falling = np.tile(np.linspace(1.0, 0.5, 20), 8)
    laps["seconds"] = laps["seconds"] * falling
    laps["expected_seconds"] = laps["expected_seconds"] * falling
    got = row(laps, ways)
    assert got["less_time_low"] < 0 < got["less_time_high"]
    assert abs(got["less_time_percent"]) < 5


def test_a_later_trial_of_the_same_operation_is_another():
    laps, ways = tried(np.random.default_rng(8), batches=4)
    later = laps["batch"].astype(int).to_numpy() >= 2
    laps.loc[later, "started_at"] += pd.Timedelta(days=30)
    table = compare_ways(laps, ways)
    assert len(table) == 2
    assert table["last_at"].is_monotonic_decreasing
    assert table["batches"].tolist() == [2, 2]


def test_marks_in_the_notes_of_a_file_count_as_well():
    laps, ways = tried(np.random.default_rng(9))
    laps["note"] = ["thin thread; trial:" + way for way in ways["way"]]
    laps.loc[0, "note"] = "no trial here"
    assert noted_ways(laps)["way"].tolist() == ways["way"].tolist()[1:]


# --- little or bad data ---


def test_no_marks_give_an_empty_table_with_its_columns():
    laps, ways = tried(np.random.default_rng(1))
    for some in (laps, laps.iloc[:0]):
        table = compare_ways(some, ways.iloc[:0])
        assert tuple(table.columns) == TRIAL_COLUMNS and table.empty


def test_one_lap_says_that_the_other_way_has_none():
    laps, ways = tried(np.random.default_rng(1))
    got = row(laps, ways.iloc[:1])
    assert got["verdict"] == "one way only" and "Only one" in got["note"]


def test_one_lap_each_way_is_too_few():
    laps = judged([{"seconds": 100.0}, {"seconds": 90.0}])
    got = row(laps, pd.DataFrame({"lap_id": laps["lap_id"], "way": ["A", "B"]}))
    assert got["verdict"] == "cannot tell" and "Too few" in got["note"]
    assert "No piece was spoiled" in got["note"]


def test_suspicious_laps_count_pieces_and_no_time():
    laps, ways = tried(np.random.default_rng(1))
    laps.loc[3, ["suspicious", "seconds"]] = [True, 99999.0]
    got = row(laps, ways)
    assert got["laps_a"] + got["laps_b"] == len(laps)
    assert max(got["seconds_a"], got["seconds_b"]) < 300


@pytest.mark.slow
def test_what_a_way_truly_saves_lies_within_the_interval():
    """200 trials by turns of five, runs straying as well as laps; seeds fixed beforehand. 95 % less
    two and a half standard errors of 1.5 points."""
    inside = 0
    for seed in range(300, 500):
        got = row(*tried(np.random.default_rng(seed), quicker=0.1))
        true = 100 * (1 - np.exp(-0.1))
        inside += got["less_time_low"] <= true <= got["less_time_high"]
    print(f"\ncovered: {inside} of 200")
    assert inside >= 182


def test_two_trials_of_one_operation_in_a_row_can_be_told_apart_by_their_batches():
    """Three days between them, and B meant a quicker way in one, a slower in the other: as one
    trial they cancel out; batch by batch each says what it found."""
    first, ways = tried(np.random.default_rng(2), batches=1, pieces=200, quicker=0.3)
    second, other = tried(np.random.default_rng(3), batches=1, pieces=200, quicker=-0.3)
    later = pd.Timedelta(days=3)
    second = second.assign(batch=pd.Categorical(["1"] * 200), lap_id="s" + second["lap_id"],
                           started_at=second["started_at"] + later)  # fmt: skip
    laps = pd.concat([first, second], ignore_index=True)
    laps = laps.astype({"batch": "str"}).astype({"batch": "category"})
    marks = pd.concat([ways, other.assign(lap_id="s" + other["lap_id"])], ignore_index=True)
    together = row(laps, marks)
    assert together["batches"] == 2 and together["verdict"] == "cannot tell"
    assert together["batch"] == ""
    apart = compare_ways(laps, marks, by_batch=True).set_index("batch")
    assert apart["verdict"].to_dict() == {"0": "B better", "1": "A better"}


def test_an_evening_s_laps_that_name_no_batch_are_one_block_by_the_shop_s_clock():
    before_midnight = days(0).normalize() + pd.Timedelta(hours=23, minutes=42)
    rows = [{"seconds": EXPECTED, "started_at": before_midnight + pd.Timedelta(minutes=5 * lap)}
            for lap in range(8)]  # fmt: skip
    laps = judged(rows)
    marks = pd.DataFrame({"lap_id": laps["lap_id"], "way": list("ABAB" * 2)})
    assert compare_ways(laps, marks, timezone="UTC")["batches"].tolist() == [2]
    assert compare_ways(laps, marks, timezone="America/Chicago")["batches"].tolist() == [1]
