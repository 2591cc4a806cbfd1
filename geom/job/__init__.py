"""The job file: what may be asked, and its reader."""
