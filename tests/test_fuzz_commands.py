"""Whatever files and values a command is given: its exit status is 0 or 2, nothing falls over, and
after a 2 the store holds what it held."""

import contextlib
import io
import re
import tempfile
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from analysis.__main__ import main
from analysis.records.laps import read_laps
from analysis.store.backup import back_up
from analysis.store.store import open_store
from tests.bench.serving import ROOT

SAMPLES = ROOT / "data_samples"
GOOD = {
    # A few dozen laps: a study of them takes a tenth of a second, and every operation is in them.
    "laps.csv": b"".join((SAMPLES / "laps.csv").read_bytes().splitlines(keepends=True)[:60]),
    **{name: (SAMPLES / name).read_bytes()
       for name in ("routing.csv", "shop.toml", "what_if_helper.toml")},
}  # fmt: skip
BACKUP = date(2026, 3, 2)
# Shrinking would take minutes for each fault: an example is small enough to be read as it is.
FEW = settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck),
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
    return draw(st.sampled_from([good[:start] + middle + good[end:], middle]))


# Most faults hide behind files that are good but for one.
one_tampered = st.sampled_from(sorted(GOOD)).flatmap(
    lambda name: tampered(name).map(lambda content: GOOD | {name: content})
)
files = st.booleans().flatmap(lambda good: st.just(GOOD) if good else one_tampered)
# No NUL among them: no system lets a program be given one as an argument.
values = st.sampled_from(["", "0", "1", "3", "-1", "2.5", "nan", "inf", "-inf", "1e400", "x", "é",
                          "pocket notebook", "linen", "9" * 30, "2026-03-02", "nowhere/no.csv",
                          "--", "no name"])  # fmt: skip
small = st.sampled_from(["1", "2", "5"])
few_letters = values.filter(lambda text: len(text) < 20)


def one(good: st.SearchStrategy[str] | str, odd: st.SearchStrategy[str] = values):
    """A good value three times out of four, else an odd one; as a list of one argument."""
    good = st.just(good) if isinstance(good, str) else good
    drawn = st.sampled_from([good, good, good, odd]).flatmap(lambda its_values: its_values)
    return drawn.map(lambda value: [value])


def option(name: str, *its_values, needed: bool = False):
    """An option with such a value; where it is not needed, left out half of the time."""
    given_so = one(*its_values).map(lambda value: [f"{name}={value[0]}"])
    return given_so if needed else st.just([]) | given_so


def arguments(*parts) -> st.SearchStrategy[list[str]]:
    """Lists of arguments joined; a plain text stands for itself."""
    lists = [st.just([part]) if isinstance(part, str) else part for part in parts]
    return st.tuples(*lists).map(lambda found: [word for part in found for word in part])


laps = one("laps.csv")
inputs = ("--laps=laps.csv", "--routing=routing.csv", "--shop=shop.toml")
product = option("--product", "pocket notebook", needed=True)
route = ("routing.csv", product, option("--variant", "linen"))
store = option("--store", "workshop.sqlite")
# A plan or a simulation is asked for no more than a moment of work; the rest of its values vary.
VERBS = {
    "study": arguments(laps, "--routing=routing.csv", "--shop=shop.toml") | arguments(laps),
    "order": arguments(
        *route, option("--units", small, few_letters, needed=True),
        option("--workers", small, few_letters), option("--laps", "laps.csv"),
        option("--change-seconds", "30"), "--seconds-limit=0.01",
    ),
    "balance": arguments(
        *route, option("--cycle", "900", needed=True) | option("--workers", small, few_letters)
    ),
    "import": arguments(laps, store),
    "export": arguments(option("--output", "export.csv", needed=True), store),
    "copy": arguments(option("--to", "copy.sqlite", values | values.map("sqlite:///{}".format),
                             needed=True), store),
    "backup": arguments(store),
    "restore": arguments(one(BACKUP.isoformat()), store) | arguments(store),
    "whatif": arguments(
        "what_if_helper.toml", *inputs, option("--seed", "1", few_letters),
        option("--runs", "1", st.sampled_from(["0", "-1", "x"]), needed=True),
    ),
    "memo": arguments(
        "what_if_helper.toml", *inputs, "--runs=1", option("--paper", "letter"),
        option("--output", "memo.html", st.sampled_from(["memo.txt", "nowhere/memo.html"]),
               needed=True),
    ),
}  # fmt: skip
commands = st.sampled_from(sorted(VERBS)).flatmap(lambda verb: arguments(verb, VERBS[verb]))
options = st.lists(st.sampled_from(["--json"]), max_size=1)


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
        back_up(Path("workshop.sqlite"), BACKUP)
        status, told = answered([*command, *more])
        assert status in (0, 2), told
        assert "Traceback" not in told
        if status == 2:
            assert told.strip(), "an error that says nothing"
            again = open_store()
            assert again.laps().equals(kept)
            again.close()


def test_every_verb_is_fuzzed():
    listed = io.StringIO()
    with contextlib.redirect_stdout(listed), pytest.raises(SystemExit):
        main(["--help"])
    assert set(re.findall(r"^    (\w+)  ", listed.getvalue(), re.M)) == set(VERBS)


@FEW
@given(files, commands, options)
def test_no_command_falls_over_or_harms_the_store(given_files, command, more):
    no_command_falls_over(given_files, command, more)


@pytest.mark.slow
@MANY
@given(files, commands, options)
def test_no_command_falls_over_or_harms_the_store_at_length(given_files, command, more):
    no_command_falls_over(given_files, command, more)
