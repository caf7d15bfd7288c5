"""Figures and reports: matplotlib and librosa, loaded only when asked for."""

import logging

# Where no folder for its cache can be written matplotlib says so at length on standard error.
# Who listens to its log still hears it.
logging.getLogger("matplotlib").addHandler(logging.NullHandler())
