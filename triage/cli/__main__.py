"""`python -m triage.cli`: the command line."""

from triage.cli import main

if __name__ == "__main__":
    main()
