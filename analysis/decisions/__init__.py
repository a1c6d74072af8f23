"""What a helper, a machine or a move would yield: simulated weeks, their money, and how sure."""
