"""From field and deposit to decisions: how much current, how long, which way round, and why."""
