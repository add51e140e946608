"""Parts of the schedule's solver: placement, bound, prices, search."""
