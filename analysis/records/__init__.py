"""Records: the contracts of laps, routing and shop; a file is read whole, or its faults named."""
