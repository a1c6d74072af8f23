"""The printable page for a partner, landlord or lender: one answer in, HTML or PDF out."""
