"""The record of the work: pictures, films and reports, made without a display."""
