"""`python -m composer`: the command `moue`, where it is not installed."""

from composer.cli.main import main

main()
