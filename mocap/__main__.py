"""`python -m mocap` is the `mocap` command."""

from mocap.cli import main

main()
