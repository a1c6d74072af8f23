"""Charts: a tidy, already aggregated frame in, an Altair chart out."""
