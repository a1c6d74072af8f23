"""What README.md tells a reader to type or look at, typed and looked at."""

import re
import shlex
from pathlib import Path

from tests import demo
from tests.command import run

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text()
SAMPLES = {
    "LAPS.csv": "laps.csv", "ROUTING.csv": "routing.csv", "SHOP.toml": "shop.toml",
    "SCENARIO.toml": "what_if_machine.toml",
}  # fmt: skip
EXAMPLES = re.findall(r"^python -m analysis .*$", README, re.MULTILINE)


def test_setting_up_takes_one_command_and_testing_another():
    blocks = re.findall(r"^```sh\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert [len(block.strip().splitlines()) for block in blocks] == [1, 1]
    assert "streamlit run app.py" in blocks[0]
    assert "pytest" in blocks[1]


def test_the_command_line_examples_run_as_written_one_after_another(tmp_path, monkeypatch):
    """In this process, as `tests/test_command_line.py` shows that a process of its own does."""
    # The names in capitals stand for the reader's files; the bindery's take their place.
    for name, sample in SAMPLES.items():
        (tmp_path / name).write_bytes((ROOT / "data_samples" / sample).read_bytes())
    # The bindery's answer looks three years ahead, simulated; a quarter is as good an example.
    asked = tmp_path / "SCENARIO.toml"
    asked.write_text(re.sub(r"(?m)^horizon_weeks = .*", "horizon_weeks = 12", asked.read_text()))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("analysis.study.summary.study", demo.studied_once)
    assert len(EXAMPLES) >= 3
    for example in EXAMPLES:
        verb = shlex.split(example, comments=True)[3:]
        assert run(*verb).stdout.strip(), example


def test_the_lap_file_shown_is_one_the_program_takes():
    from analysis.records.laps import read_laps

    shown = re.search(r"```\n(started_at,.*?)```", README, re.DOTALL)[1]
    assert len(read_laps(shown.encode(), name="README.md").frame) == 2


def test_every_file_and_picture_named_is_there():
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)|src=\"([^\"]+)\"", README)
    missing = [a or b for a, b in links if not (ROOT / (a or b)).exists()]
    assert links
    assert missing == []
