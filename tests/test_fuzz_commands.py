"""Whatever files and values a command is given: its exit status is 0 or 2, nothing falls over, and
after a 2 the store holds what it held."""

import contextlib
import io
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from analysis.__main__ import main
from analysis.records.laps import read_laps
from analysis.store.store import open_store
from tests.bench.serving import ROOT

SAMPLES = ROOT / "data_samples"
GOOD = {
    # A few dozen laps: a study of them takes a tenth of a second, and every operation is in them.
    "laps.csv": b"".join((SAMPLES / "laps.csv").read_bytes().splitlines(keepends=True)[:60]),
    **{name: (SAMPLES / name).read_bytes()
       for name in ("routing.csv", "shop.toml", "what_if_helper.toml")},
}  # fmt: skip
# Shrinking would take minutes for each fault: an example is small enough to be read as it is.
FEW = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck),
               phases=(Phase.explicit, Phase.reuse, Phase.generate))  # fmt: skip
MANY = settings(FEW, max_examples=2000)
bits = st.sampled_from(["", "0", "-1", "nan", "inf", "1e999", "'", '"', "\n", ",", "|", "=1+1",
                        "\0", "[", "é", "9" * 400, "2026-03-02"])  # fmt: skip


@st.composite
def tampered(draw, name):
    """A good file with one place cut out of it and something else put there; or any bytes."""
    good = GOOD[name]
    start = draw(st.integers(0, len(good)))
    end = start + draw(st.sampled_from([0, 0, 1, 5, 60]))
    middle = draw(bits.map(str.encode) | st.binary(max_size=4))
    return draw(st.sampled_from([good, good, good[:start] + middle + good[end:], middle]))


files = st.fixed_dictionaries({name: tampered(name) for name in GOOD})
# No NUL among them: no system lets a program be given one as an argument.
values = st.sampled_from(["", "0", "1", "3", "-1", "2.5", "nan", "inf", "-inf", "1e400", "x", "é",
                          "pocket notebook", "linen", "9" * 30, "2026-03-02", "nowhere/no.csv",
                          "--", "no name"])  # fmt: skip
products = st.just("pocket notebook") | values
small = st.sampled_from(["1", "2", "5"]) | values.filter(lambda text: len(text) < 20)
options = st.lists(st.sampled_from(["--json"]), max_size=1)
# A plan or a simulation is asked for no more than a moment of work; the rest of its values vary.
commands = st.one_of(
    st.tuples(st.just("study"), st.just("laps.csv"), st.just("--routing=routing.csv"),
              st.just("--shop=shop.toml")),
    st.tuples(st.just("study"), st.just("laps.csv") | values),
    st.tuples(st.just("order"), st.just("routing.csv"), products.map("--product={}".format),
              small.map("--units={}".format), small.map("--workers={}".format),
              values.map("--change-seconds={}".format), st.just("--seconds-limit=0.01")),
    st.tuples(st.just("balance"), st.just("routing.csv"), products.map("--product={}".format),
              values.map("--cycle={}".format) | small.map("--workers={}".format)),
    st.tuples(st.just("import"), st.just("laps.csv") | values),
    st.tuples(st.just("export"), values.map("--output={}".format)),
    st.tuples(st.just("backup")),
    st.tuples(st.just("copy"), values.map("--to={}".format)),
    st.tuples(st.just("copy"), values.map("--to=sqlite:///{}".format)),
    st.tuples(st.just("restore"), values),
    st.tuples(st.just("whatif"), st.just("what_if_helper.toml"), st.just("--laps=laps.csv"),
              st.just("--routing=routing.csv"), st.just("--shop=shop.toml"),
              values.filter(lambda text: len(text) < 20).map("--seed={}".format),
              st.sampled_from(["0", "1", "-1", "x"]).map("--runs={}".format)),
    st.tuples(st.just("memo"), st.just("what_if_helper.toml"), st.just("--laps=laps.csv"),
              st.just("--routing=routing.csv"), st.just("--shop=shop.toml"), st.just("--runs=1"),
              st.sampled_from(["memo.html", "memo.txt", "nowhere/memo.html"])
              .map("--output={}".format)),
)  # fmt: skip


def answered(arguments: list[str]) -> tuple[int, str]:
    """Exit status and standard error of one command, in this process."""
    told = io.StringIO()
    with contextlib.redirect_stderr(told), contextlib.redirect_stdout(io.StringIO()):
        try:
            return main(arguments), told.getvalue()
        except SystemExit as end:  # argparse, for a value that is no value of its option
            return end.code, told.getvalue()


def no_command_falls_over(given_files, command, more):
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder), \
            pytest.MonkeyPatch.context() as patch:  # fmt: skip
        patch.setenv("WORKSHOP_STORE", f"sqlite:///{folder}/workshop.sqlite")
        for name, content in given_files.items():
            Path(name).write_bytes(content)
        Path("kept.csv").write_bytes(GOOD["laps.csv"])
        store = open_store()
        store.import_laps(read_laps("kept.csv"))
        kept = store.laps()
        store.close()
        status, told = answered([*command, *more])
        assert status in (0, 2), told
        assert "Traceback" not in told
        if status == 2:
            assert told.strip(), "an error that says nothing"
            again = open_store()
            assert again.laps().equals(kept)
            again.close()


@FEW
@given(files, commands, options)
def test_no_command_falls_over_or_harms_the_store(given_files, command, more):
    no_command_falls_over(given_files, command, more)


@pytest.mark.slow
@MANY
@given(files, commands, options)
def test_no_command_falls_over_or_harms_the_store_at_length(given_files, command, more):
    no_command_falls_over(given_files, command, more)
