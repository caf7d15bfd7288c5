"""Exit codes and names that several commands share."""

DONE, UNREADABLE, BAD_INPUT, DEFECT, INTERRUPTED = 0, 1, 2, 3, 130

#: Folders that are written to unless another is named.
DEMO_FOLDER = "tapfall-demo"
SIMULATED_FOLDER = "tapfall-simulated"

#: The built-in recording that the demonstration reads.
DEMO_SCENARIO = "normal"
