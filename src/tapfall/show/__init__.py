"""Figures and reports: matplotlib and librosa, loaded only when asked for."""
