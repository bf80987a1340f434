"""Run castq as `python -m castq`."""

from castq.cli.main import run

run()
