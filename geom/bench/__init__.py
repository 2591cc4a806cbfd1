"""What stands round the cell: hooks, leads, room air, the metal plated on. Records and bench arithmetic, no field."""
