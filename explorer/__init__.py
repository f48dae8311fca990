"""squatline: a Monte Carlo design-space explorer for fast electric model cars with a movable rear wing."""
