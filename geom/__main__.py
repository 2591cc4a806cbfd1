"""``python -m geom``."""

from geom.cli.main import main

main()
