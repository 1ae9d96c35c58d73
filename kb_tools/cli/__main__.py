"""Run `kb` as `python -m kb_tools.cli`."""

from kb_tools.cli import run

run()
