"""Run the command line with `python -m slackwater.fitting`."""

from slackwater.fitting.cli import main

if __name__ == "__main__":
    main()
