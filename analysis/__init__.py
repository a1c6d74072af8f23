"""Workshop time study: from bench laps to what a piece costs and what the week can carry."""
