"""Study: true times, learning, quality, takt and cost from plain frames; it knows no screen."""
