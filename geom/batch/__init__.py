"""Many jobs: planned side by side on any executor, journaled as they are done, and taken up again where it stopped."""
