"""Small shops for the tests of decisions, plain enough to reckon by hand."""

from analysis.decisions.shop_model import Hand, Line, ShopModel, Skill, Step

HOUR = 3600.0
DAY = 24 * HOUR
OPEN = tuple((day * DAY + 8 * HOUR, day * DAY + 16 * HOUR) for day in range(5))  # 40 hours


def box_shop(demand=100.0, seconds=600.0, **line) -> ShopModel:
    """One maker without a wage, one product, cut then sew, no doubt and no scatter.

    sew takes `seconds`, cut 60 s a piece; price 20, material 5; 40 open hours.
    """
    steps = (
        Step("cut", station="saw", setup_seconds=300.0, transport_seconds=120.0),
        Step("sew", before=((0, 0.0),), workers=("maker",)),
    )
    given = {
        "batch_size": 25, "demand_per_week": demand, "demand_spread": 0.0, "price": 20.0,
        "material_cost": 5.0, "stock": 200.0,
    }  # fmt: skip
    box = Line("box", "", steps, **given | line)
    skills = {
        ("maker", "box", "cut"): Skill(60.0, scatter="none"),
        ("maker", "box", "sew"): Skill(seconds, scatter="none"),
    }
    return ShopModel((box,), skills, (Hand("maker"),), {"saw": 1}, OPEN)
