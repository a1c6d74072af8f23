"""Records: the contracts of laps, routing and shop, and reading files so that every fault is named and none is half taken."""
