"""What a helper, a machine or a move would yield: simulated weeks and their money, with how sure they are."""
