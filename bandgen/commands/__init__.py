"""The commands, one module each: ``NAME``, ``HELP``, ``add_arguments`` and ``run``, which returns the exit code.

Their heavier imports are inside ``run``: the command line loads them all.
"""
