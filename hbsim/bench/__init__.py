"""The bench: files of measured data read, corrected for what stood between circuit and instrument, laid beside the
prediction, and used to find what is not known."""
