"""What README.md tells a reader to type or look at, typed and looked at."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

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


def test_the_command_line_examples_run_as_written_one_after_another(tmp_path, own_store):
    # The names in capitals stand for the reader's files; the bindery's take their place.
    for name, sample in SAMPLES.items():
        (tmp_path / name).write_bytes((ROOT / "data_samples" / sample).read_bytes())
    # The bindery's answer looks three years ahead, simulated; a quarter is as good an example.
    asked = tmp_path / "SCENARIO.toml"
    asked.write_text(re.sub(r"(?m)^horizon_weeks = .*", "horizon_weeks = 12", asked.read_text()))
    environment = os.environ | {"WORKSHOP_STORE": own_store, "PYTHONPATH": str(ROOT)}
    assert len(EXAMPLES) >= 3
    for example in EXAMPLES:
        done = subprocess.run(
            [sys.executable, *shlex.split(example, comments=True)[1:]],
            cwd=tmp_path, env=environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, f"{example}: {done.stderr}"
        assert done.stdout.strip()


def test_the_lap_file_shown_is_one_the_program_takes():
    from analysis.records.laps import read_laps

    shown = re.search(r"```\n(started_at,.*?)```", README, re.DOTALL)[1]
    assert len(read_laps(shown.encode(), name="README.md").frame) == 2


def test_every_file_and_picture_named_is_there():
    links = re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)|src=\"([^\"]+)\"", README)
    missing = [a or b for a, b in links if not (ROOT / (a or b)).exists()]
    assert links
    assert missing == []
