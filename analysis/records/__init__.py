"""Records: contracts of laps, routing, shop, scenario; a file is read whole or its faults named."""
