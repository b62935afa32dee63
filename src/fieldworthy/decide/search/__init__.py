"""Search: the best robot, and the best plan, within stated ranges and the season's limits."""
