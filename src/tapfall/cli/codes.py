"""Exit codes, names and a width that several commands share."""

DONE, UNREADABLE, BAD_INPUT, DEFECT, INTERRUPTED = 0, 1, 2, 3, 130

#: Folders that are written to unless another is named.
DEMO_FOLDER = "tapfall-demo"
SIMULATED_FOLDER = "tapfall-simulated"

#: Columns of what is printed (our choice: any terminal has them).
WIDTH = 80

#: The built-in recording that the demonstration reads.
DEMO_SCENARIO = "normal"
