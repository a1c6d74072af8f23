"""A small shop in which everything the simulated weeks know about happens, and nothing is in doubt.

Two lines with branches that join, five learning curves, rework and scrap, a warming press, a press
that holds its pieces overnight, a kiln whose pieces lie in it until taken, trays of four, a part-
time hand who comes later, leaves early and is away for three weeks, a closed week, a big order.
"""

from analysis.decisions.shop_model import Hand, Line, Order, ShopModel, Skill, Step

DAY = 86400.0
OPEN = tuple(
    (day * DAY + begin * 3600.0, day * DAY + end * 3600.0)
    for day in range(5)
    for begin, end in ((8.5, 12.5), (13.25, 16.25))
)
BOX = (
    Step("cut", station="saw", setup_seconds=200.0),
    Step("sew", ((0, 0.0),), "frame", ("maker",), setup_seconds=150.0, rework_chance=0.06,
         rework_seconds=190.0, scrap_chance=0.03),
    Step("cover", ((0, 600.0),), transport_seconds=90.0, rework_chance=0.02,
         rework_seconds=100.0),
    Step("stamp", ((2, 3600.0),), "press", ("maker",), setup_seconds=240.0,
         setup_wait_seconds=900.0, scrap_chance=0.02),
    Step("case", ((1, 1800.0), (3, 0.0)), "clamp", wait_seconds=14400.0, wait_holds_station=True),
    Step("wrap", ((4, 14400.0),), wait_seconds=300.0),
)  # fmt: skip
TILE = (
    Step("glaze", pieces_at_once=4, scrap_chance=0.03, rework_chance=0.02, rework_seconds=60.0),
    Step("fire", ((0, 7200.0),), "kiln", stays_until_taken=True, pieces_at_once=10),
    Step("pack", ((1, 30000.0),)),
)


def rich_shop(**changes) -> ShopModel:
    """More is asked for than the two can always make."""
    maker = {
        ("box", "cut"): Skill(40.0, restart_effect=0.2),
        ("box", "sew"): Skill(500.0, "plateau", -0.32, 200.0, experience=60, retention_per_week=0.9,
                              restart_effect=0.25),
        ("box", "cover"): Skill(400.0, "cumulative_average", -0.11, experience=30),
        ("box", "stamp"): Skill(90.0, "prior", -0.2, prior_pieces=50, experience=12.5),
        ("box", "case"): Skill(300.0, "unit", -0.2, experience=5, retention_per_week=0.7),
        ("box", "wrap"): Skill(60.0),
        ("tile", "glaze"): Skill(400.0, "unit", -0.1, experience=0),
        ("tile", "fire"): Skill(100.0),
        ("tile", "pack"): Skill(30.0, scatter="exponential"),
    }  # fmt: skip
    helper = {
        ("box", "cut"): Skill(50.0, restart_effect=0.1),
        ("box", "cover"): Skill(600.0, "cumulative_average", -0.15, restart_effect=0.3),
        ("box", "wrap"): Skill(80.0, "unit", -0.05, retention_per_week=0.8),
        ("tile", "pack"): Skill(50.0, "prior", -0.1, prior_pieces=3),
    }
    skills = {}
    for name, own in (("maker", maker), ("helper", helper)):
        for (product, operation), skill in own.items():
            scattered = Skill(**{**vars(skill), "piece_log_sd": 0.15, "batch_log_sd": 0.1})
            skills[name, product, operation] = scattered
    lines = (
        Line("box", "plain", BOX, 25, 130.0, stock=20.0),
        Line("tile", "", TILE, 30, 70.0, stock=10.0, demand_spread=2.0, cover_weeks=1.5),
    )
    hands = (
        Hand("maker", available=(0.9, 1.0, 0.8)),
        Hand("helper", 12.0, from_week=1, until_week=9, available=(1, 1, 1, 1, 0, 0, 0),
             operations=("cut", "cover", "wrap", "pack")),
    )  # fmt: skip
    stations = {"saw": 1, "frame": 1, "press": 1, "clamp": 1, "kiln": 2}
    model = {
        "lines": lines, "skills": skills, "hands": hands, "stations": stations,
        "open_seconds": OPEN, "closed": (0.0, 0.0, 0.5), "demand_factor": (1.0, 1.2, 0.8, 1.0),
        "orders": (Order(0, 6, 40.0, 3),), "delay_share": 0.05, "rest_share": 0.09,
    }  # fmt: skip
    return ShopModel(**{**model, **changes})
