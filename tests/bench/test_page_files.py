"""The page's files: each with its type, told apart when it changes, and none but those."""

import base64
import hashlib
import re
import tomllib

import pytest

from analysis.bench.assets import PAGE, TYPES, Assets
from tests.bench.serving import PAGE as PAGE_WANTED
from tests.bench.serving import ROOT


def test_the_page_is_served_at_bench(server):
    answer = server.ask("GET", "/bench")
    assert answer.status == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    assert answer.body == (PAGE / "index.html").read_bytes()
    assert server.ask("GET", "/bench/").headers["location"] == "/bench"


@pytest.mark.parametrize("name", sorted(
    path.relative_to(PAGE).as_posix() for path in PAGE.rglob("*") if path.suffix in TYPES
))  # fmt: skip
def test_every_file_comes_with_the_type_that_browsers_insist_on(server, name):
    answer = server.ask("GET", f"/bench/assets/{name}")
    assert answer.status == 200 and answer.body == (PAGE / name).read_bytes()
    assert answer.headers["content-type"] == TYPES["." + name.rpartition(".")[2]]
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_file_the_browser_has_is_not_sent_again(server):
    first = server.ask("GET", "/bench/assets/index.html")
    again = server.ask("GET", "/bench/assets/index.html", If_None_Match=first.headers["etag"])
    assert (again.status, again.body) == (304, b"")
    assert again.headers["etag"] == first.headers["etag"]
    assert server.ask("GET", "/bench/assets/index.html", If_None_Match='"other"').status == 200
    assert server.ask("HEAD", "/bench").body == b""


def test_the_service_worker_may_look_after_the_page(server):
    answer = server.ask("GET", "/bench/sw.js")
    assert answer.headers["service-worker-allowed"] == "/bench"
    assert answer.headers["content-type"].startswith("text/javascript")


OUTSIDE = [
    "../routes.py", "..%2froutes.py", "%2e%2e/routes.py", "....//routes.py", "..\\routes.py",
    "..%5croutes.py", "%252e%252e%252froutes.py", "./../pair.html", "page/../../service.py",
    "/etc/passwd", "//etc/passwd", "file:///etc/passwd", "index.html%00.js", "index.html/", "",
    ".", "..", "../page/index.html", "__init__.py", "CON", "x" * 4000, "%7f", "%ff%fe",
]  # fmt: skip


@pytest.mark.parametrize("name", OUTSIDE)
def test_no_name_leads_out_of_the_folder(server, name):
    answer = server.ask("GET", f"/bench/assets/{name}")
    assert answer.status in (400, 404)
    assert b"import" not in answer.body and b"root:" not in answer.body


def test_what_a_link_points_at_outside_is_not_served(tmp_path):
    (tmp_path / "page").mkdir()
    (tmp_path / "secret.txt").write_text("secret")
    (tmp_path / "page" / "plain.txt").write_text("plain")
    (tmp_path / "page" / "link.txt").symlink_to(tmp_path / "secret.txt")
    (tmp_path / "page" / "folder").symlink_to(tmp_path)
    assets = Assets(tmp_path / "page")
    assert assets.get("plain.txt").body == b"plain"
    assert assets.get("link.txt") is None
    assert assets.get("folder/secret.txt") is None


def test_a_changed_file_has_another_tag(tmp_path):
    (tmp_path / "one.js").write_text("1")
    assets = Assets(tmp_path)
    before = assets.get("one.js").etag
    (tmp_path / "one.js").write_text("2 and more")
    after = assets.get("one.js")
    assert after.etag != before and after.body == b"2 and more"


def test_an_unpaired_phone_sees_a_page_whose_policy_lets_only_its_own_script_run(opened, elsewhere):
    answer = opened.ask("GET", "/bench", source=elsewhere, **PAGE_WANTED)
    [script] = re.findall(r"<script>(.*?)</script>", answer.body.decode(), re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in answer.headers["content-security-policy"]


def test_the_server_is_for_this_computer_unless_told_otherwise():
    config = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text())
    assert config["server"]["address"] == "127.0.0.1"
    assert not {"enableCORS", "enableXsrfProtection", "allowedHosts"} & set(config["server"])
