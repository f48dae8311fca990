"""What the road and the wind do to a car at speed: one bump or crest, and one gust, each a haversine.

The wheels of the front axle meet the bump first, those of the rear a wheelbase later.
"""

from __future__ import annotations

from explorer.quantity import given

bump_height = given(
    "m",
    """Height of the bump or crest the car runs over; negative for a dip.

    Its shape is a haversine: from the level up to this height and back, without a corner.
    """,
    default=0.0,
)
bump_length = given("m", "Length of the bump or crest along the road, foot to foot.", default=1.0, above=0)
gust_rise_time = given(
    "s", "Time in which a gust rises to its full strength, and falls again.", default=0.1, above=0
)
gust_hold_time = given("s", "Time for which a gust stays at its full strength.", default=0.0, at_least=0)
