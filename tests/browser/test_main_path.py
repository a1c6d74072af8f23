"""What a newcomer sees and does, in a real browser against a real server."""


def test_newcomer_sees_a_working_week_of_the_demo_bindery(app, page):
    page.goto(app)
    page.get_by_role("heading", name="This week").wait_for()
    page.get_by_text("good pieces").first.wait_for()
    page.locator(
        "[data-testid='stVegaLiteChart'] canvas, [data-testid='stVegaLiteChart'] svg"
    ).first.wait_for()
    assert page.get_by_text("Traceback").count() == 0
