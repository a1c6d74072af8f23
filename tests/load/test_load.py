"""A short cut of the load run: what twenty phones were told is kept is in the store, once."""

from tests.load import shop


def test_every_lap_of_twenty_phones_at_once_is_kept_exactly_once(tmp_path):
    with shop.served(tmp_path) as (server, store):
        seeded = store.lap_count()
        posts = shop.tapped(server, store, seconds=4, meanwhile=lambda: None)
        assert [post.failure for post in posts if post.failure] == []
        assert shop.times_kept(store, posts) == {1: len(posts)} == {1: 2 * shop.PHONES}
        assert store.lap_count() == seeded + len(posts)
    assert "Traceback" not in (tmp_path / "server.log").read_text()
