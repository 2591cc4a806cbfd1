"""What was really done, run by run, and what it says about the bath."""
