"""What the tests of screens read off them, and the file a newcomer brings."""

from streamlit.testing.v1 import AppTest

# The columns a file must have and no others: what a newcomer's first file looks like.
NEEDED_ONLY = "started_at,seconds,product,operation\n" + "".join(
    f"2026-11-{day:02d}T{hour:02d}:00:00,{300 + 10 * day + hour},card box,{operation}\n"
    for day in (2, 3, 4, 5, 6, 9, 10, 11)
    for hour, operation in ((8, "cut"), (9, "glue"), (10, "fold"))
)


def turn_to(screen: AppTest, tab: str) -> AppTest:
    """Open a tab of Laps or Shop, as a tap on its name does."""
    screen.session_state[f"{screen.title[0].value.lower()}_part"] = tab
    screen.run()
    assert not screen.exception, screen.exception[0].message
    return screen


def said(screen: AppTest) -> str:
    """All the words on a screen, as they are read: without Markdown's backslashes."""
    kinds = ("title", "subheader", "markdown", "caption", "info", "warning", "error", "success")
    words = [element.value for kind in kinds for element in getattr(screen, kind)]
    return "\n".join(words).replace("\\", "")
