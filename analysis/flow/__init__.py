"""What to do in which order: batches without waiting for glue, work shared between people."""
